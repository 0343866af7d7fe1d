// Path tracer for crops of single rings with exact truth.
//
// One source, two builds: nvcc (a thread a pixel on the GPU) and g++ (OpenMP over rows).
// Solids are distance fields: a bent wire (torus arc with oval, gap, ends out of line, cut faces)
// of several cross-sections, a piece of wire that is hardly bowed, a coin-like disc. Below them a textured, perhaps glowing plane; above them rectangle lights,
// a dark phone and a small map of the far room. Lengths in mm, z up, z = 0 the table.
//
// `scene_layout.h` is written by layout.py from the numpy record, so both sides always agree.

#include <math.h>
#include <stdint.h>
#ifdef __CUDACC__
#include <cuda_fp16.h>
#define FN static __device__ __forceinline__
#define FNBIG static __device__ __noinline__
typedef __half out_t;
#else
#define FN static inline
#define FNBIG static
typedef float out_t;
#define __expf expf
static inline float rsqrtf(float x) { return 1.0f / sqrtf(x); }
#endif
#include "scene_layout.h"

#define PI 3.14159265f
#define FAR 1e9f
#define FIREFLY 40.0f

struct V { float x, y, z; };
FN V v3(float x, float y, float z) { V a = {x, y, z}; return a; }
FN V ld(const float* p) { return v3(p[0], p[1], p[2]); }
FN V operator+(V a, V b) { return v3(a.x + b.x, a.y + b.y, a.z + b.z); }
FN V operator-(V a, V b) { return v3(a.x - b.x, a.y - b.y, a.z - b.z); }
FN V operator*(V a, V b) { return v3(a.x * b.x, a.y * b.y, a.z * b.z); }
FN V operator*(V a, float s) { return v3(a.x * s, a.y * s, a.z * s); }
FN float dot(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
FN V cross(V a, V b) {
  return v3(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x);
}
FN V unit(V a) { return a * rsqrtf(fmaxf(dot(a, a), 1e-30f)); }
FN V mix(V a, V b, float t) { return a * (1 - t) + b * t; }
FN float lum(V a) { return 0.25f * a.x + 0.55f * a.y + 0.2f * a.z; }
FN float clampf(float x, float a, float b) { return fminf(fmaxf(x, a), b); }

// ---- random numbers and noise -------------------------------------------------------------
struct Rng { uint32_t s; };
FN uint32_t hash1(uint32_t x) {
  x ^= x >> 16; x *= 0x7feb352dU; x ^= x >> 15; x *= 0x846ca68bU; x ^= x >> 16; return x;
}
FN float rnd(Rng& r) {
  r.s = r.s * 747796405u + 2891336453u;
  uint32_t w = ((r.s >> ((r.s >> 28) + 4u)) ^ r.s) * 277803737u;
  w = (w >> 22) ^ w;
  return (w >> 8) * (1.0f / 16777216.0f);
}
FN float lattice(int x, int y, uint32_t seed) {
  return (hash1((uint32_t)x * 0x9E3779B1u ^ (uint32_t)y * 0x85EBCA77u ^ seed) >> 8) *
         (1.0f / 16777216.0f);
}
FN float noise2(float x, float y, uint32_t seed) {
  float fx = floorf(x), fy = floorf(y);
  int ix = (int)fx, iy = (int)fy;
  float u = x - fx, v = y - fy;
  u = u * u * (3 - 2 * u); v = v * v * (3 - 2 * v);
  float a = lattice(ix, iy, seed), b = lattice(ix + 1, iy, seed);
  float c = lattice(ix, iy + 1, seed), d = lattice(ix + 1, iy + 1, seed);
  return a + (b - a) * u + (c - a) * v + (a - b - c + d) * u * v;
}

// ---- solids ----------------------------------------------------------------------------------
// Ring angle offset of the ends: +-1/2 at the two ends, steep near them for a large power.
FN float end_shape(float u, float power) {  // u in (0, 1) along the wire from end to end
  float e = 2 * u - 1, m = powf(fabsf(e), power);
  return 0.5f * (e < 0 ? -m : m);
}

FN V to_local(const Solid& o, V p) {
  V q = p - ld(o.centre);
  return v3(dot(ld(o.axes), q), dot(ld(o.axes + 3), q), dot(ld(o.axes + 6), q));
}
FN V dir_local(const Solid& o, V d) {
  return v3(dot(ld(o.axes), d), dot(ld(o.axes + 3), d), dot(ld(o.axes + 6), d));
}
FN V dir_world(const Solid& o, V d) {
  return ld(o.axes) * d.x + ld(o.axes + 3) * d.y + ld(o.axes + 6) * d.z;
}

// Distance from the cross-section's outline: a outwards, b up from the centre line, both mm; `way` mm
// along the wire. Half-round wire has its centre line where the product counts its width from.
FN float section(const Solid& o, float a, float b, float way) {
  float r = o.tube;
  if (o.section == 1) {
    float qa = fabsf(a) - (r - o.corner), qb = fabsf(b) - (r - o.corner);
    float oa = fmaxf(qa, 0.f), ob = fmaxf(qb, 0.f);
    return fminf(fmaxf(qa, qb), 0.f) + sqrtf(oa * oa + ob * ob) - o.corner;
  }
  if (o.section == 2) return fmaxf(sqrtf(a * a + b * b) - r, -b);
  if (o.section == 3) return fmaxf(sqrtf((a + r) * (a + r) + b * b) - 2 * r, -(a + r));
  if (o.section == 4) {  // two strands, each half as thick
    float c = cosf(o.twist * way), s = sinf(o.twist * way), h = 0.5f * r;
    float one = (a - h * c) * (a - h * c) + (b - h * s) * (b - h * s);
    float two = (a + h * c) * (a + h * c) + (b + h * s) * (b + h * s);
    return sqrtf(fminf(one, two)) - h;
  }
  return sqrtf(a * a + b * b) - r;
}

// Distance beyond the cut face of an end: `over` mm along the wire beyond the face's middle. Cutters
// leave it slanted, or pinched like a chisel.
FN float cut(const Solid& o, float over, float side, float a, float b) {
  float face = over + side * (o.slant_r * a + o.slant_z * b) + o.wedge_r * fabsf(a) +
               o.wedge_z * fabsf(b);
  return face * rsqrtf(1 + o.slant_r * o.slant_r + o.slant_z * o.slant_z +
                       o.wedge_r * o.wedge_r + o.wedge_z * o.wedge_z);
}

// Distance in the solid's own frame (centre line at z = 0 of that frame).
FN float distance(const Solid& o, V p) {
  float rho2 = p.x * p.x + p.y * p.y, rho = sqrtf(rho2);
  if (o.kind == 1) {  // disc with rounded rim
    float dx = rho - (o.radius - o.round_mm), dz = fabsf(p.z) - (o.tube - o.round_mm);
    float ox = fmaxf(dx, 0.f), oz = fmaxf(dz, 0.f);
    return fminf(fmaxf(dx, dz), 0.f) + sqrtf(ox * ox + oz * oz) - o.round_mm;
  }
  if (o.kind == 2) {  // x along, y away from the far centre of its bow; no small difference of sums
    float across = p.y + o.radius;
    float a = (p.x * p.x + p.y * p.y + 2 * p.y * o.radius) /
              (sqrtf(p.x * p.x + across * across) + o.radius);
    float side = p.x < 0 ? -1.f : 1.f;
    return fmaxf(section(o, a, p.z, p.x), cut(o, fabsf(p.x) - o.half_length, side, a, p.z));
  }
  float inv = 1.0f / fmaxf(rho2, 1e-12f);
  float c2 = (p.x * p.x - p.y * p.y) * inv, s2 = 2 * p.x * p.y * inv;
  float radius = o.radius * (1 + o.oval_cos * c2 + o.oval_sin * s2);
  if (o.plain) {
    float a = rho - radius;
    return section(o, a, p.z, o.section == 4 ? atan2f(p.y, p.x) * o.radius : 0.f);
  }
  // far away the exact shape does not matter: a safe lower bound saves the arc tangent
  float slack = fabsf(o.step_r) + fabsf(o.step_z);
  {
    float a = rho - radius, d = sqrtf(a * a + p.z * p.z) - o.bound - 0.5f * slack;
    if (d > 0.5f * o.tube + slack) return d;
  }
  float phi = atan2f(p.y * o.gap_cos - p.x * o.gap_sin, p.x * o.gap_cos + p.y * o.gap_sin);
  float u = phi < 0 ? phi * (0.5f / PI) + 1.0f : phi * (0.5f / PI);
  float f = end_shape(u, o.step_power);
  float line = radius + o.step_r * f, level = o.step_z * f + o.step_mid;
  float a = rho - line, b = p.z - level;
  float d = section(o, a, b, o.section == 4 ? atan2f(p.y, p.x) * o.radius : 0.f);
  // the cut: remove what lies between the two end faces
  float reach = o.gap_half - fabsf(phi);
  if (fabsf(phi) < 1.0f) {
    float side = phi < 0 ? -1.f : 1.f;
    float face = cut(o, rho * reach, side, a, b);
    d = fmaxf(d, face);
    if (o.burr > 0) {  // a small bump on one end's rim
      float bx = rho * (phi - o.gap_half), by = a - o.burr_r, bz = b - o.burr_z;
      d = fminf(d, sqrtf(bx * bx + by * by + bz * bz) - o.burr);
    }
  }
  return d;
}

struct Hit { float t; int what; V n, tangent; int material; float u, v; };
// what: -1 none, 0 plane, 1 solid, 2 + i light, 99 phone

FN float march(const Scene& s, V o, V d, float limit, int& which, bool any) {
  which = -1;
  float best = limit;
  for (int i = 0; i < s.solids; ++i) {
    const Solid& q = s.solid[i];
    V po = to_local(q, o), pd = dir_local(q, d);
    // clip the ray to the slab and the cylinder that hold the solid
    float t0 = 0.f, t1 = best;
    if (fabsf(pd.z) > 1e-7f) {
      float a = (-q.reach_z - po.z) / pd.z, b = (q.reach_z - po.z) / pd.z;
      t0 = fmaxf(t0, fminf(a, b)); t1 = fminf(t1, fmaxf(a, b));
    } else if (fabsf(po.z) > q.reach_z) continue;
    float A = pd.x * pd.x + pd.y * pd.y, B = po.x * pd.x + po.y * pd.y;
    float C = po.x * po.x + po.y * po.y - q.reach_r * q.reach_r;
    if (A > 1e-12f) {
      float disc = B * B - A * C;
      if (disc <= 0) continue;
      float root = sqrtf(disc);
      t0 = fmaxf(t0, (-B - root) / A); t1 = fminf(t1, (-B + root) / A);
    } else if (C > 0) continue;
    if (t0 >= t1) continue;
    float eps = 2e-4f * q.tube, t = t0;
    V start = po + pd * t0;  // march from the entry: keeps float digits near the solid
    float len = t1 - t0, w = 0;
    bool hit = false;
    float dist = 0;
    int most = q.section ? 250 : 120;  // upright walls are passed in many small steps
    for (int k = 0; k < most; ++k) {
      dist = distance(q, start + pd * w);
      if (dist < eps) { hit = true; break; }
      w += dist * q.safety;
      if (w > len) break;
    }
    if (!hit && w <= len && dist < 1e-3f * q.tube) hit = true;
    if (hit) {
      t = t0 + w;
      if (t < best) { best = t; which = i; if (any) return best; }
    }
  }
  return best;
}

FN V room(const Scene& s, const float* map, V d) {
  float az = atan2f(d.y, d.x) * (0.5f / PI) + 0.5f;
  float el = asinf(clampf(d.z, -1.f, 1.f)) * (2.0f / PI);  // 0 horizon .. 1 zenith
  if (el < 0) return ld(s.floor_light);
  float x = az * ROOM_W, y = el * ROOM_H - 0.5f;
  int ix = (int)floorf(x), iy = (int)floorf(clampf(y, 0.f, ROOM_H - 1.001f));
  float u = x - ix, v = clampf(y - iy, 0.f, 1.f);
  ix = ((ix % ROOM_W) + ROOM_W) % ROOM_W;
  int jx = (ix + 1) % ROOM_W, jy = iy + 1 < ROOM_H ? iy + 1 : iy;
  V a = ld(map + 3 * (iy * ROOM_W + ix)), b = ld(map + 3 * (iy * ROOM_W + jx));
  V c = ld(map + 3 * (jy * ROOM_W + ix)), e = ld(map + 3 * (jy * ROOM_W + jx));
  return mix(mix(a, b, u), mix(c, e, u), v);
}

FN float hit_rect(V corner, V e1, V e2, V o, V d, float limit, float& cosine) {
  V n = cross(e1, e2);
  float den = dot(n, d);
  if (fabsf(den) < 1e-12f) return FAR;
  float t = dot(n, corner - o) / den;
  if (t <= 1e-4f || t >= limit) return FAR;
  V q = o + d * t - corner;
  float a = dot(q, e1) / dot(e1, e1), b = dot(q, e2) / dot(e2, e2);
  if (a < 0 || a > 1 || b < 0 || b > 1) return FAR;
  cosine = fabsf(den) * rsqrtf(dot(n, n));
  return t;
}

// ---- the table ---------------------------------------------------------------------------------
FNBIG void table_at(const Scene& s, float x, float y, V& albedo, V& glow) {
  float dx = x - s.sheet_x, dy = y - s.sheet_y;
  float px = dx * s.grain_cos + dy * s.grain_sin, py = -dx * s.grain_sin + dy * s.grain_cos;
  bool on_sheet = fabsf(px) < s.sheet_half_x && fabsf(py) < s.sheet_half_y;
  if (!on_sheet) { albedo = ld(s.beyond); glow = v3(0, 0, 0); return; }
  uint32_t seed = (uint32_t)s.texture_seed;
  float f = s.grain_freq, k = 0;
  if (s.texture == 0) {
    k = 0.6f * noise2(px * f, py * f, seed) + 0.4f * noise2(px * f * 2.7f, py * f * 2.7f, seed + 7);
  } else if (s.texture == 1) {  // wood: long fibres, darker rings
    float warp = 2.5f * noise2(px * 0.02f * f, py * 0.25f * f, seed + 3);
    float rings = 0.5f + 0.5f * sinf(6.28f * (py * 0.22f * f + warp));
    float fibre = noise2(px * 0.15f * f, py * 2.2f * f, seed);
    float pores = noise2(px * 0.5f * f, py * 6.f * f, seed + 11);
    k = 0.45f * rings + 0.35f * fibre + (pores > 0.82f ? 0.5f : 0.f);
    k = clampf(k, 0.f, 1.f);
  } else if (s.texture == 2) {  // weave: threads over and under
    float a = px * f, b = py * f;
    int ia = (int)floorf(a), ib = (int)floorf(b);
    float u = a - ia - 0.5f, v = b - ib - 0.5f;
    float over = ((ia + ib) & 1) ? 1 - 3.2f * u * u : 1 - 3.2f * v * v;
    float edge = ((ia + ib) & 1) ? v : u;
    k = clampf(over * (1 - 1.2f * edge * edge), 0.f, 1.f) *
        (0.7f + 0.3f * lattice(ia, ib, seed)) * (0.8f + 0.2f * noise2(a * 5, b * 5, seed));
  } else {  // speckle: cork, stone
    float a = noise2(px * f, py * f, seed), b = noise2(px * f * 3.1f, py * f * 3.1f, seed + 5);
    k = a * 0.5f + (b > 0.6f ? 0.5f : 0.f);
  }
  albedo = mix(ld(s.albedo), ld(s.albedo2), k);
  glow = ld(s.glow);
  float ink = 0;
  if (s.line_step > 0) {  // printed grid
    float qx = x * s.line_cos + y * s.line_sin + s.line_x;
    float qy = -x * s.line_sin + y * s.line_cos + s.line_y;
    float ax = fabsf(qx - s.line_step * rintf(qx / s.line_step));
    float ay = fabsf(qy - s.line_step * rintf(qy / s.line_step));
    if (ax < s.line_half || (ay < s.line_half && s.line_both)) ink = s.line_ink;
  }
  if (s.glyph_size > 0) {  // rows of letter-like marks
    float qx = (x * s.line_cos + y * s.line_sin) / s.glyph_size + 100.3f;
    float qy = (-x * s.line_sin + y * s.line_cos) / (1.6f * s.glyph_size) + 100.6f;
    int cx = (int)floorf(qx), cy = (int)floorf(qy);
    float u = (qx - cx) * 6.f, v = (qy - cy) * 9.f;
    int iu = (int)u, iv = (int)v;
    if (iu >= 1 && iu < 5 && iv >= 1 && iv < 7 && lattice(cx, cy, seed + 21) < 0.8f) {
      bool frame = iu == 1 || iv == 1 || iu == 4 || iv == 4;
      if (lattice(cx * 8 + iu, cy * 16 + iv, seed + 23) < (frame ? 0.75f : 0.35f)) ink = s.line_ink;
    }
  }
  if (s.circle_half > 0) {  // printed circle
    float cx = x - s.circle_x, cy = y - s.circle_y;
    float off = fabsf(sqrtf(cx * cx + cy * cy) - s.circle_radius);
    if (off < s.circle_half && off > s.circle_hollow) ink = s.line_ink;
  }
  albedo = mix(albedo, ld(s.ink), ink);
  glow = glow * mix(v3(1, 1, 1), ld(s.ink), ink);
}

// ---- reflection --------------------------------------------------------------------------------
struct Coat { V eta, k, tint, diffuse; float f0, ax, ay; int metal, beckmann; };

FN float conductor(float n, float k, float c) {
  float n2 = n * n, k2 = k * k, c2 = c * c, a = n2 + k2, b = 2 * n * c;
  float rs = (a - b + c2) / (a + b + c2);
  // the common approximation of the exact formula, exact at normal incidence
  float rp = (a * c2 - b + 1) / (a * c2 + b + 1);
  return 0.5f * (rs + rp);
}
FN V fresnel(const Coat& m, float c) {
  if (m.metal)
    return v3(conductor(m.eta.x, m.k.x, c), conductor(m.eta.y, m.k.y, c),
              conductor(m.eta.z, m.k.z, c)) * m.tint;
  float w = 1 - c, w2 = w * w, f = m.f0 + (1 - m.f0) * w2 * w2 * w;
  return v3(f, f, f);
}
FN float lobe(const Coat& m, V h) {  // distribution of normals
  float a = h.x / m.ax, b = h.y / m.ay, z2 = h.z * h.z;
  if (m.beckmann) return __expf(-(a * a + b * b) / z2) / (PI * m.ax * m.ay * z2 * z2);
  float q = a * a + b * b + z2;
  return 1.0f / (PI * m.ax * m.ay * q * q);
}
FN float ggx_lobe(const Coat& m, V h) {
  float a = h.x / m.ax, b = h.y / m.ay, q = a * a + b * b + h.z * h.z;
  return 1.0f / (PI * m.ax * m.ay * q * q);
}
FN float ggx_lambda(const Coat& m, V w) {
  float a = m.ax * w.x, b = m.ay * w.y;
  return 0.5f * (-1 + sqrtf(1 + (a * a + b * b) / (w.z * w.z)));
}
FN float lambda(const Coat& m, V w) {
  if (!m.beckmann) return ggx_lambda(m, w);
  float p = m.ax * w.x, q = m.ay * w.y, a = w.z * rsqrtf(fmaxf(p * p + q * q, 1e-20f));
  if (a >= 1.6f) return 0;
  return (1 - 1.259f * a + 0.396f * a * a) / (3.535f * a + 2.181f * a * a);
}
FN float spec_share(const Coat& m, V wo) {
  float d = lum(m.diffuse);
  if (d <= 0) return 1;
  float f = lum(fresnel(m, fmaxf(wo.z, 0.f)));
  return clampf(f / (f + d * (1 - f)), 0.15f, 0.95f);
}
FN V evaluate(const Coat& m, V wo, V wi, float& pdf) {  // f * cos, and the sampler's density
  pdf = 0;
  if (wo.z <= 1e-4f || wi.z <= 1e-4f) return v3(0, 0, 0);
  V h = unit(wo + wi);
  float share = spec_share(m, wo), c = fmaxf(dot(wo, h), 0.f);
  V f = fresnel(m, c);
  float d = lobe(m, h), g = 1.0f / (1 + lambda(m, wo) + lambda(m, wi));
  V out = f * (d * g / (4 * wo.z));
  pdf = share * ggx_lobe(m, h) / (1 + ggx_lambda(m, wo)) / (4 * wo.z);
  out = out + m.diffuse * (v3(1, 1, 1) - f) * (wi.z / PI);
  pdf += (1 - share) * wi.z / PI;
  return out;
}
FN V draw(const Coat& m, V wo, Rng& r) {  // visible normals of GGX (Heitz 2018), or cosine
  float a = rnd(r), b = rnd(r), phi = 2 * PI * b;
  if (rnd(r) > spec_share(m, wo)) {
    float q = sqrtf(a);
    return v3(q * cosf(phi), q * sinf(phi), sqrtf(fmaxf(0.f, 1 - a)));
  }
  V vh = unit(v3(m.ax * wo.x, m.ay * wo.y, wo.z));
  float l = vh.x * vh.x + vh.y * vh.y;
  V t1 = l > 1e-12f ? v3(-vh.y, vh.x, 0) * rsqrtf(l) : v3(1, 0, 0), t2 = cross(vh, t1);
  float q = sqrtf(a), p1 = q * cosf(phi), p2 = q * sinf(phi), s = 0.5f * (1 + vh.z);
  p2 = (1 - s) * sqrtf(fmaxf(0.f, 1 - p1 * p1)) + s * p2;
  V nh = t1 * p1 + t2 * p2 + vh * sqrtf(fmaxf(0.f, 1 - p1 * p1 - p2 * p2));
  V h = unit(v3(m.ax * nh.x, m.ay * nh.y, fmaxf(1e-6f, nh.z)));
  return h * (2 * dot(wo, h)) - wo;
}

// Normal, wire direction and the surface's own marks at a point of a solid.
FNBIG void surface_at(const Scene& s, int which, V p, V d, V& n, V& tangent, Coat& m) {
  const Solid& o = s.solid[which];
  const Finish& f = s.finish[o.finish];
  V q = to_local(o, p);
  float e = 4e-3f * o.tube;
  V g = v3(0, 0, 0);
  const float k[4][3] = {{1, -1, -1}, {-1, -1, 1}, {-1, 1, -1}, {1, 1, 1}};
  for (int i = 0; i < 4; ++i) {
    V c = v3(k[i][0], k[i][1], k[i][2]);
    g = g + c * distance(o, q + c * e);
  }
  V nl = unit(g), radial = unit(v3(q.x, q.y, 0)), along = v3(-radial.y, radial.x, 0);
  if (o.kind > 0) along = v3(1, 0, 0.0f);
  if (o.kind == 2) radial = v3(0, 1, 0);
  float wire = o.kind == 2 ? q.x : atan2f(q.y, q.x) * o.radius;
  float around = atan2f(nl.z, dot(nl, radial)) * o.tube;
  along = unit(along - nl * dot(along, nl));
  V across = cross(nl, along);
  uint32_t seed = (uint32_t)f.seed;
  float rough = 1, dirt = 0;
  if (f.streak > 0) {  // drawing lines along the wire
    float z = noise2(around * f.streak_freq, wire * f.streak_freq * 0.04f, seed) +
              noise2(around * f.streak_freq * 2.3f, wire * f.streak_freq * 0.09f, seed + 1) - 1;
    nl = nl + across * (f.streak * z);
  }
  if (f.mark > 0) {  // marks across the wire, from winding and tumbling
    float z = noise2(wire * f.mark_freq, around * f.mark_freq * 0.5f, seed + 2) +
              noise2(wire * f.mark_freq * 2.9f, around * f.mark_freq * 1.9f, seed + 3) - 1;
    nl = nl + along * (f.mark * z);
    rough = 0.75f + 0.5f * noise2(wire * f.mark_freq * 0.3f, around * f.mark_freq * 0.3f, seed + 9);
  }
  if (f.dirt > 0) dirt = f.dirt * noise2(wire * f.dirt_freq, around * f.dirt_freq, seed + 4);
  n = unit(dir_world(o, nl));
  if (dot(n, d) > -1e-3f) n = unit(n - d * (dot(n, d) + 2e-3f));  // marks never face away
  tangent = dir_world(o, along);
  tangent = unit(tangent - n * dot(tangent, n));
  m.eta = ld(f.eta); m.k = ld(f.k); m.metal = f.metal; m.beckmann = f.beckmann; m.f0 = f.f0;
  m.tint = ld(f.tint) * (1 - dirt);
  m.diffuse = mix(ld(f.diffuse), ld(f.dirt_colour), dirt);
  m.ax = clampf(f.rough_along * rough, 0.015f, 0.9f);
  m.ay = clampf(f.rough_across * rough, 0.015f, 0.9f);
}

FN float light_pdf(const Light& l, float t, float cosine) {
  float area = sqrtf(dot(cross(ld(l.e1), ld(l.e2)), cross(ld(l.e1), ld(l.e2))));
  return l.share * t * t / fmaxf(cosine * area, 1e-12f);
}

FN V limit(V c, float top) {
  float m = fmaxf(c.x, fmaxf(c.y, c.z));
  return m > top ? c * (top / m) : c;
}

struct Path { V o, d, through; float pdf; int depth; };

// One step of a path: returns the light found, sets depth to -1 when the path ends.
FN V advance(const Scene& s, const float* map, Path& p, Rng& r) {
  V found = v3(0, 0, 0);
  float best = FAR, cosine = 1;
  int what = -1;
  if (p.d.z < -1e-6f) { float t = -p.o.z / p.d.z; if (t > 1e-5f) { best = t; what = 0; } }
  if (p.depth > 0) {
    for (int i = 0; i < s.lights; ++i) {
      float c, t = hit_rect(ld(s.light[i].corner), ld(s.light[i].e1), ld(s.light[i].e2), p.o, p.d,
                            best, c);
      if (t < best) { best = t; what = 2 + i; cosine = c; }
    }
    if (s.phone_on) {
      float c, t = hit_rect(ld(s.phone_corner), ld(s.phone_e1), ld(s.phone_e2), p.o, p.d, best, c);
      if (t < best) { best = t; what = 99; }
    }
  }
  int which;
  float t = march(s, p.o, p.d, best, which, false);
  if (which >= 0) { best = t; what = 1; }
  if (what == -1) { found = p.through * room(s, map, p.d); p.depth = -1; return found; }
  if (what == 99) { found = p.through * ld(s.phone_light); p.depth = -1; return found; }
  if (what >= 2) {
    const Light& l = s.light[what - 2];
    float w = 1;
    if (p.pdf > 0) { float q = light_pdf(l, best, cosine); w = p.pdf / (p.pdf + q); }
    found = p.through * ld(l.power) * w;
    p.depth = -1;
    return found;
  }
  V at = p.o + p.d * best, n, tangent;
  Coat m;
  if (what == 0) {
    V glow;
    m.metal = 0; m.beckmann = 0; m.f0 = s.table_f0; m.ax = m.ay = s.table_rough;
    m.eta = m.k = m.tint = v3(0, 0, 0);
    table_at(s, at.x, at.y, m.diffuse, glow);
    n = v3(0, 0, 1); tangent = v3(1, 0, 0);
    at.z = 0;
    found = p.through * glow;
  } else {
    surface_at(s, which, at, p.d, n, tangent, m);
    at = at + n * (3e-3f * s.solid[which].tube);
  }
  if (p.depth + 1 >= s.bounces) { p.depth = -1; return found; }
  V side = cross(n, tangent);
  V back = p.d * -1.0f;
  V wo = v3(dot(back, tangent), dot(back, side), dot(back, n));
  // towards one light
  if (s.lights > 0) {
    float pick = rnd(r), acc = 0;
    int i = 0;
    for (; i < s.lights - 1; ++i) { acc += s.light[i].share; if (pick < acc) break; }
    const Light& l = s.light[i];
    V to = ld(l.corner) + ld(l.e1) * rnd(r) + ld(l.e2) * rnd(r) - at;
    float dist2 = dot(to, to), dist = sqrtf(dist2);
    to = to * (1 / dist);
    V wi = v3(dot(to, tangent), dot(to, side), dot(to, n));
    if (wi.z > 1e-4f && to.z > 1e-4f) {
      float pdf;
      V f = evaluate(m, wo, wi, pdf);
      if (lum(f) > 1e-7f) {
        bool dark = false;
        if (s.phone_on) {
          float c;
          dark = hit_rect(ld(s.phone_corner), ld(s.phone_e1), ld(s.phone_e2), at, to, dist * 0.9999f,
                          c) < FAR;
        }
        if (!dark) { int w; march(s, at, to, dist, w, true); dark = w >= 0; }
        if (!dark) {
          V ln = unit(cross(ld(l.e1), ld(l.e2)));
          float q = light_pdf(l, dist, fabsf(dot(ln, to)));
          found = found + limit(p.through * f * ld(l.power) * (1.0f / (q + pdf)),
                                FIREFLY * s.white);
        }
      }
    }
  }
  V wi = draw(m, wo, r);
  float pdf;
  V f = evaluate(m, wo, wi, pdf);
  if (pdf <= 1e-9f) { p.depth = -1; return found; }
  p.through = p.through * f * (1.0f / pdf);
  float keep = fminf(1.f, fmaxf(p.through.x, fmaxf(p.through.y, p.through.z)) * 1.2f);
  if (p.depth >= 1) {
    if (rnd(r) > keep || keep < 1e-4f) { p.depth = -1; return found; }
    p.through = p.through * (1 / keep);
  }
  p.o = at;
  p.d = unit(tangent * wi.x + side * wi.y + n * wi.z);
  if (what == 0) p.o.z = 1e-4f;
  p.pdf = s.lights > 0 ? pdf : 0;
  p.depth += 1;
  return found;
}

FN V eye_ray(const Scene& s, float x, float y) {
  const float* a = s.eye;
  return unit(v3(a[0] * x + a[1] * y + a[2], a[3] * x + a[4] * y + a[5],
                 a[6] * x + a[7] * y + a[8]));
}

FN V pixel(const Scene& s, const float* map, int x, int y) {
  // how many paths: all of them near the ring, few elsewhere
  V d0 = eye_ray(s, (float)x, (float)y);
  float t = (s.focus_z - s.camera[2]) / d0.z;
  float gx = s.camera[0] + t * d0.x - s.focus_x, gy = s.camera[1] + t * d0.y - s.focus_y;
  float where = sqrtf(gx * gx + gy * gy);
  int count = where > s.near_from && where < s.near_to ? s.paths : s.paths_far;
  Rng r = {hash1((uint32_t)(y * 8192 + x) ^ hash1((uint32_t)s.seed))};
  float j1 = rnd(r), j2 = rnd(r);
  V sum = v3(0, 0, 0), one = v3(0, 0, 0);
  Path p;
  p.depth = -1;
  int done = 0;
  while (true) {
    if (p.depth < 0) {
      if (done > 0) sum = sum + limit(one, FIREFLY * s.white);
      one = v3(0, 0, 0);
      if (done == count) break;
      float a = j1 + done * 0.7548777f, b = j2 + done * 0.5698403f;
      p.o = ld(s.camera);
      p.d = eye_ray(s, x + (a - floorf(a)) - 0.5f, y + (b - floorf(b)) - 0.5f);
      p.through = v3(1, 1, 1); p.pdf = 0; p.depth = 0;
      ++done;
    }
    one = one + advance(s, map, p, r);
  }
  return sum * (1.0f / count);
}

#ifdef __CUDACC__
FN void put(out_t* o, V c) {
  o[0] = __float2half(fminf(c.x, 60000.f)); o[1] = __float2half(fminf(c.y, 60000.f));
  o[2] = __float2half(fminf(c.z, 60000.f));
}
__global__ void __launch_bounds__(128) kernel(const Scene* scenes, const float* rooms,
                                              const long long* offsets, out_t* out) {
  const Scene& s = scenes[blockIdx.y];
  int i = blockIdx.x * 128 + threadIdx.x, tile = i >> 5, lane = i & 31;
  int tiles_x = s.size >> 3, tx = tile % tiles_x, ty = tile / tiles_x;
  int x = tx * 8 + (lane & 7), y = ty * 4 + (lane >> 3);
  if (y >= s.size) return;
  V c = pixel(s, rooms + (long long)blockIdx.y * ROOM_W * ROOM_H * 3, x, y);
  put(out + 3 * (offsets[blockIdx.y] + (long long)y * s.size + x), c);
}
extern "C" int trace_scenes(const void* scenes, const float* rooms, const long long* offsets,
                            void* out, int count, int largest, void* stream) {
  dim3 grid((largest * largest + 127) / 128, count);
  kernel<<<grid, 128, 0, (cudaStream_t)stream>>>((const Scene*)scenes, rooms, offsets, (out_t*)out);
  return (int)cudaGetLastError();
}
#else
extern "C" int trace_scenes(const void* scenes, const float* rooms, const long long* offsets,
                            void* out, int count, int largest, void* stream) {
  (void)largest; (void)stream;
  const Scene* all = (const Scene*)scenes;
  for (int k = 0; k < count; ++k) {
    const Scene& s = all[k];
    const float* map = rooms + (long long)k * ROOM_W * ROOM_H * 3;
#pragma omp parallel for schedule(dynamic, 4)
    for (int y = 0; y < s.size; ++y)
      for (int x = 0; x < s.size; ++x) {
        V c = pixel(s, map, x, y);
        float* o = (float*)out + 3 * (offsets[k] + (long long)y * s.size + x);
        o[0] = c.x; o[1] = c.y; o[2] = c.z;
      }
  }
  return 0;
}
#endif
extern "C" int scene_bytes() { return (int)sizeof(Scene); }
