"""The torch JPEG against libjpeg (through Pillow): same picture to within rounding."""

import io

import numpy as np
import pytest
from PIL import Image

torch = pytest.importorskip("torch", reason="needs torch (optional extra 'train')")

from tests.training.jpeg import through_jpeg  # noqa: E402


def smooth_picture():
    """A disc with a highlight and some noise, (3, 64, 96) in [0, 1]."""
    y, x = np.mgrid[:64, :96]
    rng = np.random.default_rng(7)
    base = 0.5 + 0.35 * np.tanh((np.hypot(x - 48, y - 30) - 20) / 1.3)
    rgb = np.stack([base, 0.8 * base + 0.1, 0.9 - 0.6 * base])
    return np.clip(rgb + rng.normal(0, 0.01, rgb.shape), 0, 1)


@pytest.mark.parametrize("quality", [78, 90, 96])
@pytest.mark.parametrize("full", [False, True])
def test_it_gives_what_libjpeg_gives(quality, full):
    picture = np.round(smooth_picture() * 255).astype(np.uint8)
    held = io.BytesIO()
    Image.fromarray(picture.transpose(1, 2, 0)).save(
        held, "JPEG", quality=quality, subsampling=0 if full else 2
    )
    theirs = np.asarray(Image.open(held), float).transpose(2, 0, 1)
    ours = through_jpeg(
        torch.from_numpy(picture / 255.0)[None].float(),
        torch.tensor([float(quality)]), torch.tensor([full]),
    )[0].numpy() * 255  # fmt: skip
    differ = np.abs(ours - theirs)
    # integer transforms and chroma round differently: less than a level on average
    assert differ.mean() < 0.75
    assert np.percentile(differ, 99) <= 4
    lost = np.abs(picture - theirs).mean()
    assert differ.mean() < 0.35 * lost
