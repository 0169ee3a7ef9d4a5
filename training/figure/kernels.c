/* Inner loops of training/figure, the same arithmetic as the numpy code beside them: lattice noise, pores, rays, rings, finish.
   Compiled when first needed (kernels.py); everything works without, only slower. All arrays are contiguous; n counts places. */
#include <math.h>
#include <stdint.h>

#define P0 0x9E3779B1u
#define P1 0x85EBCA77u
#define P2 0xC2B2AE3Du

static inline __attribute__((always_inline)) uint32_t mixed(uint32_t h) {
    h ^= h >> 16; h *= 0x7FEB352Du; h ^= h >> 15; h *= 0x846CA68Bu; return h ^ (h >> 16);
}
static inline __attribute__((always_inline)) float unit(uint32_t h) { return (float)(int32_t)(h >> 8) * 5.9604644775390625e-08f; }
static inline __attribute__((always_inline)) float second(float value, uint32_t salt) {
    uint32_t h = (uint32_t)(int32_t)(value * 16777216.0f) ^ (salt * 0x9E3779B1u);
    return unit(mixed(mixed(h)));
}
static inline __attribute__((always_inline)) float step01(float low, float width, float x) {
    float t = (x - low) / width;
    t = t < 0.0f ? 0.0f : (t > 1.0f ? 1.0f : t);
    return t * t * (3.0f - 2.0f * t);
}
static inline __attribute__((always_inline)) float clip01(float v) { return v < 0.0f ? 0.0f : (v > 1.0f ? 1.0f : v); }
static inline __attribute__((always_inline)) float ease(float f) { return f * f * (3.0f - 2.0f * f); }

static inline __attribute__((always_inline)) float noise3(uint32_t seed, float x, float y, float z) {
    float lx = floorf(x), ly = floorf(y), lz = floorf(z);
    float wx = ease(x - lx), wy = ease(y - ly), wz = ease(z - lz);
    float vx = 1.0f - wx, vy = 1.0f - wy, vz = 1.0f - wz;
    uint32_t cx = (uint32_t)(int32_t)lx * P0, cy = (uint32_t)(int32_t)ly * P1, cz = (uint32_t)(int32_t)lz * P2;
    uint32_t a0 = mixed(seed ^ cx), a1 = mixed(seed ^ (cx + P0));
    uint32_t b00 = mixed(a0 ^ cy), b10 = mixed(a1 ^ cy), b01 = mixed(a0 ^ (cy + P1)), b11 = mixed(a1 ^ (cy + P1));
    float s = unit(mixed(b00 ^ cz)) * vx * vy * vz;
    s += unit(mixed(b10 ^ cz)) * wx * vy * vz;
    s += unit(mixed(b01 ^ cz)) * vx * wy * vz;
    s += unit(mixed(b11 ^ cz)) * wx * wy * vz;
    cz += P2;
    s += unit(mixed(b00 ^ cz)) * vx * vy * wz;
    s += unit(mixed(b10 ^ cz)) * wx * vy * wz;
    s += unit(mixed(b01 ^ cz)) * vx * wy * wz;
    s += unit(mixed(b11 ^ cz)) * wx * wy * wz;
    return s * 2.0f - 1.0f;
}
void value_noise1(int64_t n, uint32_t seed, const float *restrict x, float *restrict out) {
    for (int64_t i = 0; i < n; i++) {
        float lx = floorf(x[i]), wx = ease(x[i] - lx);
        uint32_t cx = (uint32_t)(int32_t)lx * P0;
        float s = unit(mixed(seed ^ cx)) * (1.0f - wx);
        s += unit(mixed(seed ^ (cx + P0))) * wx;
        out[i] = s * 2.0f - 1.0f;
    }
}
void value_noise2(int64_t n, uint32_t seed, const float *restrict x, const float *restrict y, float *restrict out) {
    for (int64_t i = 0; i < n; i++) {
        float lx = floorf(x[i]), ly = floorf(y[i]);
        float wx = ease(x[i] - lx), wy = ease(y[i] - ly), vx = 1.0f - wx, vy = 1.0f - wy;
        uint32_t cx = (uint32_t)(int32_t)lx * P0, cy = (uint32_t)(int32_t)ly * P1;
        uint32_t a0 = mixed(seed ^ cx), a1 = mixed(seed ^ (cx + P0));
        float s = unit(mixed(a0 ^ cy)) * vx * vy;
        s += unit(mixed(a1 ^ cy)) * wx * vy;
        s += unit(mixed(a0 ^ (cy + P1))) * vx * wy;
        s += unit(mixed(a1 ^ (cy + P1))) * wx * wy;
        out[i] = s * 2.0f - 1.0f;
    }
}
void value_noise3(int64_t n, uint32_t seed, const float *restrict x, const float *restrict y, const float *restrict z, float *restrict out) {
    for (int64_t i = 0; i < n; i++) out[i] = noise3(seed, x[i], y[i], z[i]);
}
/* noise at places divided by a, b, c: added to out times `gain` */
void add_noise3(int64_t n, uint32_t seed, const float *restrict x, const float *restrict y, const float *restrict z, float a, float b, float c, float gain,
                float *restrict out) {
    for (int64_t i = 0; i < n; i++) out[i] += gain * noise3(seed, x[i] / a, y[i] / b, z[i] / c);
}
void cell_hash(int64_t n, uint32_t seed, int count, const int32_t *restrict a, const int32_t *restrict b, const int32_t *restrict c, float *restrict out) {
    if (count == 1) for (int64_t i = 0; i < n; i++) out[i] = unit(mixed(seed ^ ((uint32_t)a[i] * P0)));
    else if (count == 2)
        for (int64_t i = 0; i < n; i++) out[i] = unit(mixed(mixed(seed ^ ((uint32_t)a[i] * P0)) ^ ((uint32_t)b[i] * P1)));
    else
        for (int64_t i = 0; i < n; i++)
            out[i] = unit(mixed(mixed(mixed(seed ^ ((uint32_t)a[i] * P0)) ^ ((uint32_t)b[i] * P1)) ^ ((uint32_t)c[i] * P2)));
}
void second_hash(int64_t n, uint32_t salt, const float *restrict value, float *restrict out) {
    for (int64_t i = 0; i < n; i++) out[i] = second(value[i], salt);
}
void smooth_step(int64_t n, float low, float width, const float *restrict x, float *restrict out) {
    for (int64_t i = 0; i < n; i++) out[i] = step01(low, width, x[i]);
}
/* piecewise linear: `value` at rising `knot`s is 0, 1, 2 ... */
void ring_number(int64_t n, int count, const double *restrict knot, const float *restrict r, float *restrict out) {
    int k = 0;
    for (int64_t i = 0; i < n; i++) {
        double v = r[i];
        while (k > 0 && v < knot[k]) k--;
        while (k < count - 2 && v >= knot[k + 1]) k++;
        double t = (v - knot[k]) / (knot[k + 1] - knot[k]);
        out[i] = v >= knot[count - 1] ? (float)(count - 1) : (float)(k + (t < 0 ? 0 : t));
    }
}
/* kind: 0 softwood, 1 ring porous, 2 semi, 3 diffuse. Late wood 0..1 and the place in the ring of each ring coordinate. */
void late_wood(int64_t n, int kind, int count, const float *restrict strength, const float *restrict ring, float *restrict late, float *restrict phase) {
    for (int64_t i = 0; i < n; i++) {
        float number = floorf(ring[i]), p = ring[i] - number, v;
        int32_t at = (int32_t)number;
        at = at < 0 ? 0 : (at > count - 1 ? count - 1 : at);
        float close = 1.0f - step01(0.965f, 0.035f, p);
        if (kind == 0) v = (0.12f * p + 0.88f * step01(0.45f, 0.48f, p)) * close;
        else if (kind == 1) v = step01(0.15f, 0.23f, p) * (0.75f + 0.25f * p);
        else if (kind == 2) v = (0.35f * p + 0.65f * step01(0.4f, 0.58f, p)) * close;
        else v = (0.25f * p + 0.75f * step01(0.72f, 0.25f, p)) * close;
        late[i] = v * strength[at];
        phase[i] = p;
    }
}
static inline __attribute__((always_inline)) float slope(const float *restrict f, int64_t i, int64_t at, int64_t last, int64_t stride) {
    if (at == 0) return f[i + stride] - f[i];
    if (at == last) return f[i] - f[i - stride];
    return (f[i + stride] - f[i - stride]) * 0.5f;
}
/* contrast lost where rings are finer than the sampling can carry; h, w at least 2 */
void fade_rings(int64_t h, int64_t w, float mean, const float *restrict ring, float *restrict late) {
    for (int64_t r = 0; r < h; r++)
        for (int64_t c = 0; c < w; c++) {
            int64_t i = r * w + c;
            float dy = slope(ring, i, r, h - 1, w), dx = slope(ring, i, c, w - 1, 1);
            float keep = 1.0f - step01(0.22f, 0.38f, sqrtf(dx * dx + dy * dy));
            late[i] = mean + (late[i] - mean) * keep;
        }
}
/* colours: early, late, sap (3 each); sapwood begins at `from`; rgb (n, 3) */
void mix_colours(int64_t n, const float *restrict colours, float from, const float *restrict late, const float *restrict x, const float *restrict y,
                 const float *restrict tone, float *restrict rgb) {
    for (int64_t i = 0; i < n; i++) {
        float sap = step01(from - 6.0f, 12.0f, sqrtf(x[i] * x[i] + y[i] * y[i]));
        float l = late[i] < 0.0f ? 0.0f : (late[i] > 1.3f ? 1.3f : late[i]);
        for (int k = 0; k < 3; k++) {
            float a = colours[k] * (1.0f - sap) + colours[6 + k] * sap;
            float d = colours[3 + k] * (1.0f - 0.5f * sap) + 0.5f * sap * colours[6 + k];
            rgb[3 * i + k] = (a + (d - a) * l) * tone[i];
        }
    }
}
/* kind 1: ring porous. cells of `c` mm, vessels `vessel` mm long; share of cells filled; out 0..1 */
void pores(int64_t n, uint32_t seed, int kind, float c, float vessel, float few, float many, float radius, float soft, float blend,
           float far, const float *restrict x, const float *restrict y, const float *restrict z, const float *restrict phase, float *restrict out) {
    float margin = radius / c, room = 1.0f - 2.0f * margin;
    for (int64_t i = 0; i < n; i++) {
        float early = kind == 1 ? 1.0f - step01(0.18f, 0.14f, phase[i]) : 1.0f - step01(0.1f, 0.8f, phase[i]);
        float share = few + (many - few) * early, gx = x[i] / c, gy = y[i] / c, fx = floorf(gx), fy = floorf(gy);
        uint32_t cx = (uint32_t)(int32_t)fx * P0, cy = (uint32_t)(int32_t)fy * P1;
        float column = unit(mixed(mixed((seed + 21u) ^ cx) ^ cy));
        uint32_t cz = (uint32_t)(int32_t)floorf(z[i] / vessel + column * 7.0f) * P2;
        float h = unit(mixed(mixed(mixed((seed + 22u) ^ cx) ^ cy) ^ cz));
        float size = radius * (0.7f + 0.6f * second(h, 3));
        float dx = gx - fx - (margin + room * second(h, 1)), dy = gy - fy - (margin + room * second(h, 2));
        float d = sqrtf(dx * dx + dy * dy) * c, sharp = clip01((size + 0.5f * soft - d) / soft);
        out[i] = h < share ? (1.0f - blend) * sharp + far : 0.0f;
    }
}
/* theta: angle round the pith; wave: sin(0.11 z). Adds gain times the ray flecks, 0..1, to tone. */
void rays(int64_t n, uint32_t seed, float pitch, float height, float filled, float width, float gain, const float *restrict x,
          const float *restrict y, const float *restrict z, const float *restrict theta, const float *restrict wave, float *restrict tone) {
    for (int64_t i = 0; i < n; i++) {
        float band = floorf(sqrtf(x[i] * x[i] + y[i] * y[i]) / 26.0f + 0.35f * wave[i]);
        float arc = theta[i] * (band + 0.5f) * pitch + 0.5f * noise3(seed + 31u, x[i] / 5.0f, y[i] / 5.0f, z[i] / 9.0f);
        float ia = floorf(arc);
        uint32_t ca = (uint32_t)(int32_t)ia * P0, cb = (uint32_t)(int32_t)band;
        float col = unit(mixed(mixed((seed + 32u) ^ ca) ^ (cb * P1)));
        float fz = z[i] / height + col * 9.0f, iz = floorf(fz);
        float h = unit(mixed(mixed(mixed((seed + 33u) ^ ca) ^ ((uint32_t)(int32_t)iz * P1)) ^ (cb * P2)));
        float across = 1.0f - fabsf(arc - ia - 0.5f) * 2.0f, along = 1.0f - fabsf(fz - iz - 0.5f) * 2.0f;
        float shape = step01(1.0f - width - 0.15f, 0.3f, across) * step01(0.0f, 0.35f, along);
        tone[i] += h < filled ? gain * shape : 0.0f;
    }
}
/* stain (tint, strength), depth of a clear coat, yellowing, wear (NULL: none): rgb (n, 3) in place, not yet clipped */
void finish(int64_t n, const float *restrict tint, float strength, float depth, float age, const float *restrict wear, const float *restrict relief,
            float *restrict rgb) {
    float more = 1.0f + 0.3f * depth, dark = 1.0f - 0.12f * depth;
    float old[3] = {1.0f - age * 0.02f, 1.0f - age * 0.10f, 1.0f - age * 0.26f};
    for (int64_t i = 0; i < n; i++) {
        float deep = -relief[i];
        deep = deep < 0.0f ? 0.0f : (deep > 0.12f ? 0.12f : deep);
        float take = strength * (1.0f + 3.0f * deep), w = wear ? wear[i] : 1.0f, v[3];
        for (int k = 0; k < 3; k++) v[k] = rgb[3 * i + k] * (1.0f - take * (1.0f - tint[k]));
        if (depth > 0.0f) {
            float grey = (v[0] + v[1] + v[2]) / 3.0f;
            for (int k = 0; k < 3; k++) v[k] = (grey + (v[k] - grey) * more) * dark;
        }
        for (int k = 0; k < 3; k++) rgb[3 * i + k] = v[k] * old[k] * w;
    }
}
/* distance to the second nearest less that to the nearest of one point scattered in each cell of a plane, in cells */
void cell_borders(int64_t n, uint32_t seed, const float *restrict x, const float *restrict y, float *restrict out) {
    for (int64_t i = 0; i < n; i++) {
        float fx = floorf(x[i]), fy = floorf(y[i]), first = 81.0f, next = 81.0f;
        for (int k = 0; k < 9; k++) {
            float cx = fx + (float)(k / 3 - 1), cy = fy + (float)(k % 3 - 1);
            float h = unit(mixed(mixed(seed ^ ((uint32_t)(int32_t)cx * P0)) ^ ((uint32_t)(int32_t)cy * P1)));
            float dx = cx + second(h, 1) - x[i], dy = cy + second(h, 2) - y[i], d = dx * dx + dy * dy;
            float far = first > d ? first : d;
            next = next < far ? next : far;
            first = first < d ? first : d;
        }
        out[i] = sqrtf(next) - sqrtf(first);
    }
}
/* rows by cols from a coarse (high, wide) grid, linear, borders coinciding; low and share: the coarse place of each row, column */
void widen(int64_t rows, int64_t cols, int64_t wide, const int32_t *restrict row_low, const float *restrict row_share,
           const int32_t *restrict col_low, const float *restrict col_share, const float *restrict coarse, float *restrict line,
           float *restrict out) {
    for (int64_t r = 0; r < rows; r++) {
        const float *a = coarse + row_low[r] * wide, *b = row_share[r] > 0.0f ? a + wide : a;
        float s = row_share[r];
        for (int64_t c = 0; c < wide; c++) line[c] = a[c] * (1.0f - s) + b[c] * s;
        line[wide] = line[wide - 1];
        for (int64_t c = 0; c < cols; c++) {
            float t = col_share[c];
            out[r * cols + c] = line[col_low[c]] * (1.0f - t) + line[col_low[c] + 1] * t;
        }
    }
}
