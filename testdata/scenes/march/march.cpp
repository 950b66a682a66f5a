// A ray marcher over the real geometry of an open course: shingles as bodies
// that drape over the plies below, fasteners as solids that stand on a shank,
// a printed card, a rake with the ground far below.
//
// One source for two machines: g++ builds it for the processor, nvcc (-x cu)
// for an NVIDIA GPU. scene.py draws a scene, march.py packs it and calls
// march_render; both declare struct Scene field by field in the same order.
//
// Lengths are millimetres in the roof frame: x along the butt line, y up the
// slope, z out of the deck. Colours are linear light. Pixel (0, 0) is the
// centre of the first pixel of the sensor.
#include <cmath>
#include <cstdint>
#include <cstring>
#include <vector>

#ifdef __CUDACC__
#define HD __host__ __device__ inline
#else
#define HD inline
#endif

enum { GRANULES, FELT, METAL, GROUND, CARD, HEAD, OBJECT, CARD_EDGE };
enum { BLOB, DROP, CHIP, LEAF, CAP, ROD, FASTENER };   // kinds of objects

struct Scene {
	// arrays
	const int *course_first;    // pieces of course -k: course_first[k] .. course_first[k+1]
	const float *piece;         // PIECE numbers each: x0, x1, dy, rot, ply, second ply, curl left, curl right, tone, height
	const int *slot_first;      // slots of a piece
	const float *slot;          // x0, x1, slant, tone left of it, tone inside
	const float *bottom;        // underside of each course on a coarse grid, bh rows from y = c E + lift - MARGIN
	const float *base;          // deck with underlay on a coarse grid
	const float *object;        // OBJECT_N numbers each
	const int *cell;            // CELL_N object numbers a cell, -1 for none
	const float *decal;         // DECAL_N numbers each
	const uint8_t *atlas;       // words, alpha
	const float *card;          // CARD_N numbers each
	const uint8_t *page;        // printed pages, 1 = white
	const float *tone_map;      // local gain, tone_w x tone_h
	// geometry
	float E, H, lift, lap, cut, rounding, rough, second_edge;
	int laminated, courses, bh, gw, gh;
	float gx0, gy0, gp;
	int ow, oh;
	float ox0, oy0, op, zmax, zmin;
	int rake;
	float rake_x, deck_x, metal, metal_top, ground;
	int underlay, decals, cards, page_w, page_h, atlas_w, atlas_h, seed;
	// materials
	float pal[16];              // r, g, b, cumulative weight
	float tone[24];             // r, g, b of eight shades of tabs
	float grain, grain_bump, grain_var, relief, wall[3], wall_wear;
	float lap_tone[3], lap_rough, under[3], under2[3], metal_col[3], ground_col[3], ground2[3], ground_scale;
	int printing;
	float band_lo, band_hi, print_w, print_col[3], print_wear, print_period, print_duty;
	float strip_lo, strip_hi, strip_col[3], strip_alpha;
	float seal_y, seal_w, seal_period, seal_duty;
	float film_lo, film_hi, film_alpha;
	float shadow_y, shadow_w, shadow_depth;
	float dirt, wet, wet_scale, dust, dust_col[3];
	// light
	float sun[3], sdir[3], sun_radius, sky[3], zenith, bounce;
	int flash;
	float flash_at[3];
	int gobo;
	float gobo_a[4], gobo_b[4], gobo_scale, gobo_cut, gobo_soft;
	// camera
	float R[9], c[3], f, cx, cy, k1, k2, p1, p2;
	int w, h, spp;
	// phone
	float blur, motion_x, motion_y, gain[3], vignette, noise, shoulder, contrast, saturation, sharpen, sharpen_radius, black;
	int tone_w, tone_h;
};

static const int PIECE = 10, SLOT = 5, OBJECT_N = 20, CELL_N = 6, DECAL_N = 12, CARD_N = 16;
#define MARGIN 30.f

// ---- noise

HD uint32_t mix(uint32_t h) {
	h ^= h >> 16; h *= 0x7feb352dU; h ^= h >> 15; h *= 0x846ca68bU; h ^= h >> 16;
	return h;
}
HD uint32_t hash3(int x, int y, int k) { return mix((uint32_t)x * 0x9E3779B1U ^ mix((uint32_t)y * 0x85EBCA77U ^ mix((uint32_t)k))); }
HD float unit(uint32_t h) { return (h >> 8) * (1.0f / 16777216.0f); }
HD float rnd(int x, int y, int k) { return unit(hash3(x, y, k)); }
HD float clampf(float v, float a, float b) { return v < a ? a : v > b ? b : v; }
HD float smooth(float a, float b, float x) { float t = clampf((x - a) / (b - a), 0, 1); return t * t * (3 - 2 * t); }

HD float noise(float x, float y, int k) {
	float fx = floorf(x), fy = floorf(y);
	int ix = (int)fx, iy = (int)fy;
	fx = x - fx; fy = y - fy;
	fx = fx * fx * (3 - 2 * fx); fy = fy * fy * (3 - 2 * fy);
	float a = rnd(ix, iy, k), b = rnd(ix + 1, iy, k), c = rnd(ix, iy + 1, k), d = rnd(ix + 1, iy + 1, k);
	return (a * (1 - fx) + b * fx) * (1 - fy) + (c * (1 - fx) + d * fx) * fy;
}
HD float fractal(float x, float y, int k) { return (noise(x, y, k) + .5f * noise(2.1f * x, 2.1f * y, k + 1) + .25f * noise(4.3f * x, 4.3f * y, k + 2)) / 1.75f; }

struct Rng {
	uint32_t s;
	HD float next() { s = s * 747796405U + 2891336453U; return unit(mix(s)); }
};

struct V3 { float x, y, z; };
HD V3 v3(float x, float y, float z) { V3 v = {x, y, z}; return v; }
HD V3 add(V3 a, V3 b) { return v3(a.x + b.x, a.y + b.y, a.z + b.z); }
HD V3 mul(V3 a, float k) { return v3(a.x * k, a.y * k, a.z * k); }
HD V3 mulv(V3 a, V3 b) { return v3(a.x * b.x, a.y * b.y, a.z * b.z); }
HD float dot(V3 a, V3 b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
HD V3 norm(V3 a) { return mul(a, 1 / sqrtf(dot(a, a) + 1e-20f)); }
HD V3 lerp(V3 a, V3 b, float t) { return v3(a.x + (b.x - a.x) * t, a.y + (b.y - a.y) * t, a.z + (b.z - a.z) * t); }
HD V3 at3(const float *p) { return v3(p[0], p[1], p[2]); }

// ---- geometry

struct Info {
	int kind, piece, slot, course, object, card;
	float yl, u, v;             // above the piece's own butt; place on the card
	bool second;                // the second ply lies here
};

HD float grid(const float *g, int w, int h, float x, float y) {
	x = clampf(x, 0, w - 1.001f); y = clampf(y, 0, h - 1.001f);
	int i = (int)x, j = (int)y;
	float fx = x - i, fy = y - j;
	const float *p = g + (size_t)j * w + i;
	return (p[0] * (1 - fx) + p[1] * fx) * (1 - fy) + (p[w] * (1 - fx) + p[w + 1] * fx) * fy;
}

// Is x in a slot of piece p, yl above its butt? -1 or the slot's number.
HD int slot_at(const Scene &S, int p, float x, float yl) {
	for (int q = S.slot_first[p]; q < S.slot_first[p + 1]; q++) {
		const float *s = S.slot + q * SLOT;
		float sh = s[2] * (yl / S.cut - .5f);
		if (s[0] + sh < x && x < s[1] - sh * .6f) return q;
	}
	return -1;
}

// Top of one course where it lies, or false: x, y in roof coordinates, k the course below the open one.
HD bool course_top(const Scene &S, int k, float x, float y, float *z, Info *I) {
	float foot = -k * S.E + S.lift;
	if (y < foot - 14 || y > foot + S.H + 14) return false;
	for (int p = S.course_first[k]; p < S.course_first[k + 1]; p++) {
		const float *P = S.piece + p * PIECE;
		if (x < P[0]) return false;                         // pieces go from left to right
		float ragged = S.rough * (noise(x * .4f, p * 7.3f, S.seed + 5) - .5f);
		if (x > P[1] + .4f * S.rough * (noise(y * .3f, p * 3.1f, S.seed + 6) - .5f)) continue;
		float yl = y - (foot + P[2] + P[3] * (x - P[0])) - ragged;
		if (yl < 0 || yl > P[9]) continue;
		int q = yl < S.cut ? slot_at(S, p, x, yl) : -1;
		if (q >= 0 && !S.laminated) continue;               // a cutout shows the course below
		float b = grid(S.bottom + (size_t)k * S.bh * S.gw, S.gw, S.bh, (x - S.gx0) / S.gp, (y - (foot - MARGIN)) / S.gp);
		float t = P[4];
		bool second = S.laminated && yl < S.lap + 3 * (noise(x * .05f, p * 1.7f, S.seed + 7) - .5f) && q < 0;
		if (second) t += P[5];
		float d = yl;                                       // worn, rounded upper edges
		if (S.laminated && q < 0 && second) {
			for (int s = S.slot_first[p]; s < S.slot_first[p + 1]; s++) {
				float a = fabsf(x - S.slot[s * SLOT]), e = fabsf(x - S.slot[s * SLOT + 1]);
				d = fminf(d, fminf(a, e));
			}
		}
		if (d < S.rounding) { float e = 1 - d / S.rounding; t -= .5f * S.rounding * e * e; }
		float l = x - P[0], r = P[1] - x;
		t += (P[6] * expf(-l / 70) + P[7] * expf(-r / 70)) * expf(-fmaxf(yl, 0) / 60);
		*z = b + t;
		if (I) { I->kind = GRANULES; I->piece = p; I->course = k; I->slot = q; I->yl = yl; I->second = second; }
		return true;
	}
	return false;
}

// The roof without what lies on it.
HD float roof(const Scene &S, float x, float y, Info *I) {
	float z;
	int k = (int)floorf((S.lift - y) / S.E) ;               // the highest course whose foot lies below y, less a margin
	for (int c = (k - 1 > 0 ? k - 1 : 0); c <= k + 3 && c < S.courses; c++)
		if (course_top(S, c, x, y, &z, I)) return z;
	float off = S.rake < 0 ? S.deck_x - x : S.rake > 0 ? x - S.deck_x : -1;
	if (off > 0) { if (I) I->kind = GROUND; return -S.ground; }
	z = grid(S.base, S.gw, S.gh, (x - S.gx0) / S.gp, (y - S.gy0) / S.gp);
	if (S.rake && off > -S.metal) { if (I) I->kind = METAL; return z + S.metal_top; }
	if (I) I->kind = FELT;
	return z;
}

HD bool card_top(const Scene &S, int n, float x, float y, float *z, float *u, float *v) {
	const float *C = S.card + n * CARD_N;
	float dx = x - C[0], dy = y - C[1];
	*u = dx * C[2] + dy * C[3]; *v = -dx * C[3] + dy * C[2];
	if (fabsf(*u) > C[4] || fabsf(*v) > C[5]) return false;
	float q = *u / C[4];
	*z = C[6] + C[7] * *u + C[8] * *v + C[9] * (q * q - 1 / 3.f);
	return true;
}

// Numbers of an object: kind, x, y, cos, sin, rx, ry, height, r, g, b, gloss, shininess, then for fasteners
// 13: z of the top's centre, 14-16: axis, 17: thickness, 18: depth of the crater, 19: grime.
HD bool fastener_solid(const float *o, float x, float y, float z, float *rad, float *h) {
	float dx = x - o[1], dy = y - o[2], dz = z - o[13];
	*h = dx * o[14] + dy * o[15] + dz * o[16];
	float d2 = dx * dx + dy * dy + dz * dz - *h * *h;
	*rad = sqrtf(fmaxf(d2, 0));
	float q = *rad / o[5];
	float top = o[7] * (1 - q * q) + .06f;
	if (q < 1) return *h < top && *h > -o[17] * (q > .8f ? 1 : .5f + q * .6f);
	return false;
}
HD bool shank_solid(const float *o, float x, float y, float z) {
	float dx = x - o[1], dy = y - o[2], dz = z - o[13];
	float h = dx * o[14] + dy * o[15] + dz * o[16];
	return h < 0 && dx * dx + dy * dy + dz * dz - h * h < 1.7f * 1.7f;
}

// Height of everything but fasteners, and what it is.
HD float height(const Scene &S, float x, float y, Info *I) {
	float z = roof(S, x, y, I);
	int i = (int)floorf((x - S.ox0) / S.op), j = (int)floorf((y - S.oy0) / S.op);
	if (i >= 0 && j >= 0 && i < S.ow && j < S.oh) {
		const int *c = S.cell + ((size_t)j * S.ow + i) * CELL_N;
		for (int k = 0; k < CELL_N && c[k] >= 0; k++) {
			const float *o = S.object + c[k] * OBJECT_N;
			float dx = x - o[1], dy = y - o[2];
			if ((int)o[0] == FASTENER) {
				if (o[18] > 0) { float d = sqrtf(dx * dx + dy * dy) / (1.45f * o[5]); d *= d; z -= o[18] * expf(-d * d); }
				continue;
			}
			float u = dx * o[3] + dy * o[4], v = -dx * o[4] + dy * o[3];
			if ((int)o[0] == ROD) {
				float b = o[5] > 60 ? 18 * sinf(u * .013f + o[1]) : 0;
				if (fabsf(u) < o[5] && fabsf(v - b) < o[6]) { float q = (v - b) / o[6]; z += o[7] * sqrtf(1 - q * q); if (I) { I->kind = OBJECT; I->object = c[k]; I->u = u; I->v = v; } }
				continue;
			}
			float wob = 1 + .5f * (noise(u / o[5] * 1.7f + c[k] * 9, v / o[6] * 1.7f, S.seed + 51) - .5f);
			float q = sqrtf(u * u / (o[5] * o[5]) + v * v / (o[6] * o[6])) / wob;
			if (q < 1) {
				int kind = (int)o[0];
				z += kind == CHIP || kind == CAP ? o[7] : kind == LEAF ? o[7] * (.4f + noise(u * .2f, v * .2f, S.seed + 52) * 2) : o[7] * sqrtf(1 - q * q);
				if (I) { I->kind = OBJECT; I->object = c[k]; I->u = u; I->v = q; }
			}
		}
	}
	for (int n = 0; n < S.cards; n++) {
		float cz, u, v;
		if (card_top(S, n, x, y, &cz, &u, &v) && cz > z) { z = cz; if (I) { I->kind = CARD; I->card = n; I->u = u; I->v = v; } }
	}
	return z;
}

// The fastener that fills a point, or -1.
HD int solid(const Scene &S, float x, float y, float z, bool *shank) {
	int i = (int)floorf((x - S.ox0) / S.op), j = (int)floorf((y - S.oy0) / S.op);
	if (i < 0 || j < 0 || i >= S.ow || j >= S.oh) return -1;
	const int *c = S.cell + ((size_t)j * S.ow + i) * CELL_N;
	for (int k = 0; k < CELL_N && c[k] >= 0; k++) {
		const float *o = S.object + c[k] * OBJECT_N;
		if ((int)o[0] != FASTENER) continue;
		float r, h;
		if (fastener_solid(o, x, y, z, &r, &h)) { *shank = false; return c[k]; }
		if (shank_solid(o, x, y, z)) { *shank = true; return c[k]; }
	}
	return -1;
}

HD bool filled(const Scene &S, float x, float y, float z) {
	bool s;
	return z < height(S, x, y, 0) || solid(S, x, y, z, &s) >= 0;
}

// March from a along d (unit) over length l: is the way blocked? Steps grow with the distance.
HD bool blocked(const Scene &S, V3 a, V3 d, float l, float first, float grow, float phase) {
	float t = first * (.5f + phase), dt = first;
	for (int n = 0; n < 80 && t < l; n++) {
		V3 p = add(a, mul(d, t));
		if (p.z > S.zmax) return false;
		if (filled(S, p.x, p.y, p.z)) return true;
		t += dt; dt *= grow;
	}
	return false;
}

// ---- materials

struct Look { V3 albedo; V3 n; float gloss, shine; bool metal; };

// One granule in two dimensions: its number and how far p is from its border.
HD float granule(float x, float y, int seed, uint32_t *id) {
	int cx = (int)floorf(x), cy = (int)floorf(y);
	float d1 = 9, d2 = 9;
	for (int oy = -1; oy <= 1; oy++)
		for (int ox = -1; ox <= 1; ox++) {
			uint32_t h = hash3(cx + ox, cy + oy, seed);
			float px = cx + ox + (h & 1023) / 1024.f, py = cy + oy + ((h >> 10) & 1023) / 1024.f;
			float d = (x - px) * (x - px) + (y - py) * (y - py);
			if (d < d1) { d2 = d1; d1 = d; *id = mix(h + 77); } else if (d < d2) d2 = d;
		}
	return sqrtf(d2) - sqrtf(d1);
}

HD V3 granules(const Scene &S, const Info &I, float x, float y, V3 *n) {
	uint32_t id = 0;
	float b = granule(x / S.grain, y / S.grain, S.seed, &id);
	float pickf = unit(id), g = unit(mix(id + 3)), tx = unit(mix(id + 5)) - .5f, ty = unit(mix(id + 9)) - .5f;
	int k = 0;
	while (k < 3 && pickf > S.pal[k * 4 + 3]) k++;
	V3 c = at3(S.pal + k * 4);
	c = mul(c, 1 + S.grain_var * (g - .5f));
	c = mul(c, .6f + .4f * fminf(1.f, b * 2.4f));
	n->x += S.grain_bump * tx; n->y += S.grain_bump * ty;
	const float *P = S.piece + I.piece * PIECE;
	int tone = (int)P[8];
	if (I.yl < S.lap - 8) {
		if (S.laminated) {
			for (int q = S.slot_first[I.piece]; q < S.slot_first[I.piece + 1]; q++) {
				if (I.slot == q) { tone = (int)S.slot[q * SLOT + 4]; break; }
				if (x > S.slot[q * SLOT]) tone = (int)S.slot[q * SLOT + 3];
			}
		} else {
			for (int q = S.slot_first[I.piece]; q < S.slot_first[I.piece + 1]; q++) if (x > S.slot[q * SLOT]) tone = (int)S.slot[q * SLOT + 3];
		}
		c = mulv(c, at3(S.tone + tone * 3));
		float e = smooth(S.shadow_y - S.shadow_w, S.shadow_y, I.yl);  // a darker band towards the lap
		c = mul(c, 1 - S.shadow_depth * e * (S.laminated && !I.second ? .4f : 1));
	} else {
		c = lerp(c, mul(at3(S.lap_tone), .75f + .5f * g), S.lap_rough);
		c = mulv(c, at3(S.tone + tone * 3));
	}
	c = mul(c, .86f + .28f * fractal(x / 60, y / 40, S.seed + 21));
	return c;
}

HD void print(const Scene &S, const Info &I, float x, float y, Look *L) {
	float yl = I.yl;
	float wear = .6f * noise(x / 8, y / 8, S.seed + 30) + .4f * noise(x / 1.8f, y / 1.8f, S.seed + 31);
	if (S.strip_alpha > 0 && yl > S.strip_lo && yl < S.strip_hi) {
		float e = fminf(1.f, fminf(yl - S.strip_lo, S.strip_hi - yl) / 1.2f);
		float weave = .8f + .4f * (sinf(x * 2.7f) * sinf(yl * 2.7f) > 0 ? 1.f : 0.f);
		L->albedo = lerp(L->albedo, mul(at3(S.strip_col), weave), S.strip_alpha * e);
		L->n.x *= .5f; L->n.y *= .5f;
	}
	bool on = false;
	float hw = S.print_w / 2, ph = x / S.print_period - floorf(x / S.print_period);
	if (S.printing == 1) on = fabsf(yl - S.band_lo) < hw || fabsf(yl - S.band_hi) < hw;
	if (S.printing == 2) on = fabsf(yl - .5f * (S.band_lo + S.band_hi)) < hw;
	if (S.printing == 3) on = (fabsf(yl - S.band_lo) < hw || fabsf(yl - S.band_hi) < hw) && ph < S.print_duty;
	if (S.printing == 4) on = fabsf(yl - S.band_hi) < hw;
	if (on && wear > S.print_wear) L->albedo = lerp(L->albedo, at3(S.print_col), .85f * fminf(1.f, (wear - S.print_wear) * 6));
	if (S.seal_w > 0 && fabsf(yl - S.seal_y) < S.seal_w) {
		float q = x / S.seal_period - floorf(x / S.seal_period);
		float e = fminf(S.seal_w - fabsf(yl - S.seal_y), fminf(q, S.seal_duty - q) * S.seal_period) / 1.5f + noise(x / 3, y / 3, S.seed + 33) - .5f;
		if (q < S.seal_duty && e > 0) { L->albedo = lerp(L->albedo, v3(.012f, .012f, .013f), fminf(1.f, e)); L->gloss = .06f; L->shine = 18; L->n.x *= .4f; L->n.y *= .4f; }
	}
	if (S.film_alpha > 0 && yl > S.film_lo && yl < S.film_hi) {     // wrinkled release film
		L->albedo = lerp(L->albedo, v3(.5f, .5f, .52f), S.film_alpha);
		L->n.x = .5f * (noise(x / 7, y / 22, S.seed + 35) - .5f); L->n.y = .4f * (noise(x / 9, y / 6, S.seed + 36) - .5f);
		L->gloss = .08f; L->shine = 60;
	}
	for (int k = 0; k < S.decals; k++) {
		const float *D = S.decal + k * DECAL_N;
		float dx = x - D[0], dy = y - D[1];
		float u = (dx * D[4] + dy * D[5]) / D[2], v = .5f - (-dx * D[5] + dy * D[4]) / D[3];
		if (u < 0 || u >= 1 || v < 0 || v >= 1) continue;
		int i = (int)(D[9] + u * D[10]), j = (int)(v * S.atlas_h);
		if (i >= S.atlas_w) continue;
		float a = S.atlas[(size_t)j * S.atlas_w + i] / 255.f * (wear > D[11] ? .8f : .1f);
		L->albedo = lerp(L->albedo, v3(D[6], D[7], D[8]), a);
	}
}

HD Look look(const Scene &S, const Info &I, float x, float y, V3 n) {
	Look L;
	L.n = n; L.gloss = 0; L.shine = 20; L.metal = false;
	bool wall = n.z < .45f;
	if (I.kind == GRANULES) {
		if (wall) {
			L.albedo = lerp(at3(S.wall), at3(S.pal), S.wall_wear * noise(x / 5, y / 5, S.seed + 41));
			L.albedo = mul(L.albedo, .6f + .8f * noise(x * 1.3f, y * 1.3f, S.seed + 42));
		} else {
			V3 m = v3(L.n.x, L.n.y, L.n.z);
			L.albedo = granules(S, I, x, y, &m);
			L.n = m;
			if (I.yl > S.E - 5) print(S, I, x, y, &L);
			L.n = norm(L.n);
		}
	} else if (I.kind == FELT) {
		V3 c;
		if (S.underlay == 0) {
			c = mul(at3(S.under), .7f + .6f * fractal(x / 9, y / 9, S.seed + 12));
			float q = fabsf(y - 300 * floorf(y / 300 + .5f));
			if (q < 1.7f) c = lerp(c, at3(S.under2), .8f);
		} else if (S.underlay == 1) {
			float w = sinf(x * 2.1f) * sinf(y * 2.1f) > 0 ? 1.1f : .85f;
			c = mul(at3(S.under), w * (.85f + .3f * fractal(x / 150, y / 150, S.seed + 13)));
			L.gloss = .04f; L.shine = 25;
			L.n = norm(add(L.n, v3(.25f * (noise(x / 30, y / 90, S.seed + 14) - .5f), .2f * (noise(x / 70, y / 25, S.seed + 15) - .5f), 0)));
		} else {                                            // planks or sheathing
			float p = S.underlay == 2 ? 140 : 1220, r = y / p - floorf(y / p);
			c = mul(lerp(at3(S.under), at3(S.under2), fractal(x / 160, y / 4, S.seed + 16)), .8f + .4f * rnd((int)floorf(y / p), 0, S.seed + 17));
			if (S.underlay == 3) c = mul(lerp(at3(S.under), at3(S.under2), noise(x / 30 + 9 * noise(x / 19, y / 19, S.seed), y / 9, S.seed + 18)), .7f + .6f * noise(x / 12, y / 33, S.seed + 19));
			if (r * p < 2.5f) c = mul(c, .15f);
		}
		L.albedo = c;
	} else if (I.kind == METAL) {
		L.albedo = mul(at3(S.metal_col), .9f + .2f * fractal(x / 40, y / 120, S.seed + 23));
		L.gloss = .15f; L.shine = 30;
	} else if (I.kind == GROUND) {
		float t = fractal(x / S.ground_scale, y / S.ground_scale, S.seed + 25), q = noise(x / (S.ground_scale * .13f), y / (S.ground_scale * .13f), S.seed + 28);
		L.albedo = mul(lerp(at3(S.ground_col), at3(S.ground2), smooth(.3f, .7f, t)), .6f + .8f * q);
	} else if (I.kind == CARD) {
		const float *C = S.card + I.card * CARD_N;
		float px = C[10] * I.u + S.page_w * .5f - .5f, py = -C[10] * I.v + S.page_h * .5f - .5f;
		px = clampf(px, 0, S.page_w - 1.01f); py = clampf(py, 0, S.page_h - 1.01f);
		int i = (int)px, j = (int)py;
		float fx = px - i, fy = py - j;
		const uint8_t *p = S.page + ((size_t)I.card * S.page_h + j) * S.page_w + i;
		float v = ((p[0] * (1 - fx) + p[1] * fx) * (1 - fy) + (p[S.page_w] * (1 - fx) + p[S.page_w + 1] * fx) * fy) / 255.f;
		V3 paper = at3(C + 11), ink = v3(.035f, .035f, .038f);
		L.albedo = wall ? mul(paper, .7f) : lerp(ink, paper, v);
		L.gloss = C[14]; L.shine = 40;
	} else {                                                // an object
		const float *o = S.object + I.object * OBJECT_N;
		L.albedo = mul(v3(o[8], o[9], o[10]), .8f + .4f * noise(x * .8f, y * .8f, S.seed + 44));
		L.gloss = o[11]; L.shine = o[12];
		int kind = (int)o[0];
		if (kind == LEAF && fabsf(I.u) < .5f) L.albedo = mul(L.albedo, .6f);
		if (kind == CAP && I.v < .33f) { L.albedo = v3(.4f, .4f, .42f); L.gloss = .4f; }
	}
	if (I.kind != CARD && I.kind != GROUND && I.kind != OBJECT) {
		float soil = 1 + S.dirt * 2 * (fractal(x / 70, y / 70, S.seed + 61) - .5f);
		L.albedo = mul(L.albedo, soil);
		if (S.wet > 0) {
			float w = smooth(1 - S.wet, 1 - S.wet + .08f, fractal(x / S.wet_scale, y / S.wet_scale, S.seed + 63));
			L.albedo = mul(L.albedo, 1 - .5f * w); L.gloss = fmaxf(L.gloss, .05f * w); L.shine = 50;
		}
		if (S.dust > 0) L.albedo = lerp(L.albedo, at3(S.dust_col), S.dust * fractal(x / 25, y / 25, S.seed + 65));
	}
	// torn mat round an overdriven head
	if (I.kind == GRANULES) {
		int i = (int)floorf((x - S.ox0) / S.op), j = (int)floorf((y - S.oy0) / S.op);
		if (i >= 0 && j >= 0 && i < S.ow && j < S.oh) {
			const int *c = S.cell + ((size_t)j * S.ow + i) * CELL_N;
			for (int k = 0; k < CELL_N && c[k] >= 0; k++) {
				const float *o = S.object + c[k] * OBJECT_N;
				if ((int)o[0] != FASTENER || o[18] <= 0) continue;
				float d = hypotf(x - o[1], y - o[2]) / o[5], jag = noise(x * .9f, y * .9f, S.seed + 71) - .5f;
				if (d > .95f && d < 1.18f + .5f * jag) L.albedo = lerp(L.albedo, v3(.012f, .011f, .011f), .85f);
			}
		}
	}
	return L;
}

// ---- light

HD float gobo(const Scene &S, float x, float y) {           // share of the sun that reaches the roof
	if (S.gobo == 0) return 1;
	float u = x * S.gobo_a[0] + y * S.gobo_a[1] - S.gobo_a[2], v = x * S.gobo_b[0] + y * S.gobo_b[1] - S.gobo_b[2];
	if (S.gobo == 1) return smooth(-S.gobo_soft, S.gobo_soft, u + 8 * (noise(v / 50, 3, S.seed + 81) - .5f));
	if (S.gobo == 2) return smooth(S.gobo_cut - S.gobo_soft, S.gobo_cut + S.gobo_soft, fractal(x / S.gobo_scale, y / S.gobo_scale, S.seed + 82));
	// a ladder: two rails with rungs
	float r = fminf(fabsf(u), fabsf(u - S.gobo_a[3]));
	float rung = u > 0 && u < S.gobo_a[3] ? fabsf(v - S.gobo_b[3] * floorf(v / S.gobo_b[3] + .5f)) : 1e3f;
	return smooth(S.gobo_scale - S.gobo_soft, S.gobo_scale + S.gobo_soft, fminf(r, rung + 3));
}

HD V3 sky_at(const Scene &S, V3 d) { return mul(at3(S.sky), .55f + .45f * (1 - d.z) * (1 - S.zenith) + .45f * d.z * S.zenith); }

HD V3 shade(const Scene &S, V3 p, const Look &L, V3 ng, V3 view, Rng &g) {
	V3 a = add(p, mul(ng, .12f));
	V3 s;
	float fall = 1;
	if (S.flash) {
		V3 d = v3(S.flash_at[0] - p.x, S.flash_at[1] - p.y, S.flash_at[2] - p.z);
		fall = 1e6f / dot(d, d);
		s = norm(d);
	} else {
		float r = sqrtf(g.next()) * S.sun_radius, t = 6.2831853f * g.next();
		V3 d = at3(S.sdir);
		V3 e1 = norm(v3(-d.y, d.x, 1e-4f)), e2 = v3(d.y * e1.z - d.z * e1.y, d.z * e1.x - d.x * e1.z, d.x * e1.y - d.y * e1.x);
		s = norm(add(d, add(mul(e1, r * cosf(t)), mul(e2, r * sinf(t)))));
	}
	V3 out = v3(0, 0, 0);
	float nl = dot(L.n, s);
	float lit = 0;
	if (S.sun[0] > 0 && nl > 0 && dot(ng, s) > 0) {
		lit = S.flash ? 1 : gobo(S, p.x, p.y);
		if (lit > .01f && p.z > -100 && blocked(S, a, s, 150, .35f, 1.09f, g.next())) lit = 0;
		out = add(out, mul(mulv(L.albedo, at3(S.sun)), nl * lit * fall * .3183f));
	}
	// sky: one direction over the surface's hemisphere
	float u = g.next(), t = 6.2831853f * g.next(), r = sqrtf(u);
	V3 e1 = norm(fabsf(L.n.x) < .8f ? v3(0, L.n.z, -L.n.y) : v3(-L.n.z, 0, L.n.x));
	V3 e2 = v3(L.n.y * e1.z - L.n.z * e1.y, L.n.z * e1.x - L.n.x * e1.z, L.n.x * e1.y - L.n.y * e1.x);
	V3 d = add(add(mul(e1, r * cosf(t)), mul(e2, r * sinf(t))), mul(L.n, sqrtf(1 - u)));
	V3 in;
	if (d.z < 0) in = mul(at3(S.sky), S.bounce);
	else if (p.z > -100 && blocked(S, a, d, 45, .6f, 1.45f, g.next())) in = mul(add(at3(S.sky), mul(at3(S.sun), .3f * S.sdir[2])), S.bounce);
	else in = sky_at(S, d);
	out = add(out, mulv(L.albedo, in));
	if (L.gloss > 0) {
		V3 m = norm(add(L.n, mul(v3(g.next() - .5f, g.next() - .5f, 0), 1.6f / sqrtf(L.shine))));
		V3 q = add(mul(m, 2 * dot(m, view)), mul(view, -1));
		V3 env = q.z > 0 ? sky_at(S, q) : mul(at3(S.sky), .1f);
		if (dot(q, view) > .94f) env = mul(env, .35f);        // the photographer
		float h = fmaxf(0.f, dot(norm(add(s, view)), L.n));
		V3 glint = mul(at3(S.sun), lit * fall * fminf(8.f, (L.shine + 2) / 8 * powf(h, L.shine) * .3183f));
		V3 tint = v3(1, 1, 1);
		if (L.metal) { float mean = (L.albedo.x + L.albedo.y + L.albedo.z) / 3 + 1e-4f; tint = mul(L.albedo, 1 / mean); }
		out = add(mul(out, 1 - .5f * L.gloss), mul(mulv(add(env, glint), tint), L.gloss));
	}
	return out;
}

HD V3 normal_at(const Scene &S, float x, float y, float h) {
	float a = height(S, x - h, y, 0), b = height(S, x + h, y, 0), c = height(S, x, y - h, 0), d = height(S, x, y + h, 0);
	return norm(v3(clampf((a - b) / (2 * h), -6, 6), clampf((c - d) / (2 * h), -6, 6), 1));
}

HD V3 sky_or_ground(const Scene &S, V3 o, V3 d, Rng &g) {
	float t = (-S.ground - o.z) / d.z;
	V3 p = add(o, mul(d, t));
	Info I; I.kind = GROUND; I.piece = 0;
	V3 n = v3(0, 0, 1);
	Look L = look(S, I, p.x, p.y, n);
	return shade(S, p, L, n, mul(d, -1), g);
}

// What is seen along a ray.
HD V3 seen(const Scene &S, V3 o, V3 d, float gsd, Rng &g) {
	if (d.z > -.02f) return at3(S.sky);
	float side = sqrtf(d.x * d.x + d.y * d.y) / -d.z;        // mm sideways a mm down
	float t0 = (S.zmax - o.z) / d.z, t1 = (S.zmin - o.z) / d.z;
	float dz = fminf(clampf(.7f * gsd, .3f, .9f) / fmaxf(side, .05f), 1.1f);
	float dt = -dz / d.z;
	float t = t0 + dt * (g.next() - 1), back = t;
	bool hit = false;
	for (int n = 0; n < 400 && t < t1; n++) {
		V3 p = add(o, mul(d, t));
		if (filled(S, p.x, p.y, p.z)) { hit = true; break; }
		back = t; t += dt;
	}
	if (!hit) return sky_or_ground(S, o, d, g);
	for (int n = 0; n < 7; n++) {
		float m = .5f * (t + back);
		V3 p = add(o, mul(d, m));
		if (filled(S, p.x, p.y, p.z)) t = m; else back = m;
	}
	V3 p = add(o, mul(d, t)), before = add(o, mul(d, back));
	bool shank;
	int f = solid(S, p.x, p.y, p.z, &shank);
	V3 view = mul(d, -1);
	if (f >= 0) {
		const float *q = S.object + f * OBJECT_N;
		float rad, h;
		fastener_solid(q, p.x, p.y, p.z, &rad, &h);
		V3 ax = v3(q[14], q[15], q[16]), rel = v3(p.x - q[1], p.y - q[2], p.z - q[13]);
		V3 out = norm(add(rel, mul(ax, -dot(rel, ax))));
		V3 n = shank || (rad > q[5] - .12f && h < q[7] * .1f) ? out : norm(add(ax, mul(out, 2 * q[7] * rad / (q[5] * q[5]) + (rad > q[5] - .5f ? .5f : 0))));
		Look L;
		V3 ng = n;
		float spot = noise((p.x) / 1.6f, p.y / 1.6f, S.seed + 91 + f);
		L.albedo = mul(v3(q[8], q[9], q[10]), .75f + .5f * spot);
		L.n = norm(add(n, v3(.12f * (noise(p.x * 1.1f, p.y * 1.1f, S.seed + 92) - .5f) + q[3] * cosf(4.2f * (p.x * .8f + p.y * .6f)), q[3] * cosf(4.2f * (p.y * .8f - p.x * .6f)), 0)));
		L.gloss = q[11]; L.shine = q[12]; L.metal = true;
		float dirt = noise(p.x / 2.3f, p.y / 2.3f, S.seed + 93 + f);
		if (!shank && dirt > 1 - q[19]) { Info I; I.kind = GRANULES; I.piece = 0; I.slot = -1; I.yl = S.E + 60; I.second = false; V3 m = n; L.albedo = granules(S, I, p.x, p.y, &m); L.n = norm(m); L.gloss = 0; L.metal = false; }
		return shade(S, before, L, ng, view, g);
	}
	Info I; I.kind = FELT; I.piece = 0; I.slot = -1; I.yl = 0; I.second = false; I.course = 0; I.object = 0; I.card = 0; I.u = I.v = 0;
	height(S, p.x, p.y, &I);
	V3 ng = normal_at(S, p.x, p.y, .28f);
	if (dot(ng, d) > 0) ng = norm(add(ng, mul(d, -1.02f * dot(ng, d))));
	Look L = look(S, I, p.x, p.y, ng);
	return shade(S, before, L, ng, view, g);
}

HD V3 ray(const Scene &S, float u, float v) {
	float ud = (u - S.cx) / S.f, vd = (v - S.cy) / S.f, x = ud, y = vd;
	for (int n = 0; n < 6; n++) {
		float r2 = x * x + y * y, d = 1 + S.k1 * r2 + S.k2 * r2 * r2;
		float dx = 2 * S.p1 * x * y + S.p2 * (r2 + 2 * x * x), dy = S.p1 * (r2 + 2 * y * y) + 2 * S.p2 * x * y;
		x = (ud - dx) / d; y = (vd - dy) / d;
	}
	return norm(v3(S.R[0] * x + S.R[3] * y + S.R[6], S.R[1] * x + S.R[4] * y + S.R[7], S.R[2] * x + S.R[5] * y + S.R[8]));
}

HD void render_pixel(const Scene &S, int i, int j, float *out) {
	V3 o = at3(S.c), sum = v3(0, 0, 0);
	float gsd = o.z / S.f;
	Rng g; g.s = hash3(i, j, S.seed + 1);
	int side = S.spp >= 4 ? 2 : 1;
	for (int k = 0; k < S.spp; k++) {
		float u = ((k % side) + g.next()) / side - .5f, v = ((k / side % side) + g.next()) / side - .5f;
		V3 c = seen(S, o, ray(S, i + u, j + v), gsd, g);
		float top = fmaxf(c.x, fmaxf(c.y, c.z));
		if (top > 12) c = mul(c, 12 / top);
		sum = add(sum, c);
	}
	out[0] = sum.x / S.spp; out[1] = sum.y / S.spp; out[2] = sum.z / S.spp;
}

// ---- phone

HD void blur_pixel(const float *in, float *out, int w, int h, int i, int j, float sigma, float dx, float dy) {
	int n = (int)ceilf(2.6f * sigma);
	float s[3] = {0, 0, 0}, ws = 0;
	for (int k = -n; k <= n; k++) {
		float wt = expf(-.5f * k * k / (sigma * sigma));
		int x = i + (int)lroundf(k * dx), y = j + (int)lroundf(k * dy);
		x = x < 0 ? 0 : x >= w ? w - 1 : x; y = y < 0 ? 0 : y >= h ? h - 1 : y;
		const float *p = in + ((size_t)y * w + x) * 3;
		for (int c = 0; c < 3; c++) s[c] += wt * p[c];
		ws += wt;
	}
	for (int c = 0; c < 3; c++) out[((size_t)j * w + i) * 3 + c] = s[c] / ws;
}

HD float gauss(int i, int j, int k) {
	float a = unit(hash3(i, j, k)), b = unit(hash3(i, j, k + 1));
	return sqrtf(-2 * logf(a + 1e-7f)) * cosf(6.2831853f * b);
}

HD void tone_pixel(const Scene &S, float *px, int i, int j) {
	float rx = (i - S.w * .5f) / (S.w * .5f), ry = (j - S.h * .5f) / (S.h * .5f);
	float local = grid(S.tone_map, S.tone_w, S.tone_h, (float)i / S.w * S.tone_w - .5f, (float)j / S.h * S.tone_h - .5f);
	float v[3], mean = 0;
	for (int c = 0; c < 3; c++) {
		float x = px[c] * S.gain[c] * (1 - S.vignette * .5f * (rx * rx + ry * ry)) * local;
		float n = .7f * gauss(i, j, S.seed + 200 + c * 2) + .35f * (gauss(i / 2, j / 2, S.seed + 220 + c * 2));
		x += n * S.noise * sqrtf(fmaxf(x, 0) / 9000 + 4e-7f);
		x = fmaxf(0, x - S.black);
		x = x * (1 + S.shoulder * .6f) / (1 + S.shoulder * x);
		x = x < .0031308f ? 12.92f * x : 1.055f * powf(fminf(x, 1.f), 1 / 2.4f) - .055f;
		float q = 2 * x - 1;
		v[c] = x + S.contrast * (x - .5f) * (1 - q * q);
		mean += v[c] / 3;
	}
	for (int c = 0; c < 3; c++) px[c] = clampf(mean + (v[c] - mean) * S.saturation, 0, 1);
}

HD void out_pixel(const Scene &S, const float *sharp, const float *soft, uint8_t *out) {
	for (int c = 0; c < 3; c++) {                           // BGR
		float v = sharp[c] + S.sharpen * (sharp[c] - soft[c]);
		out[2 - c] = (uint8_t)(clampf(v, 0, 1) * 255 + .5f);
	}
}

// ---- both machines

#ifdef __CUDACC__
#define EACH(name, args, body) \
	__global__ void name args { int i = blockIdx.x * blockDim.x + threadIdx.x, j = blockIdx.y * blockDim.y + threadIdx.y; if (i >= W || j >= Hh) return; body }
EACH(k_render, (Scene S, float *a, int W, int Hh), render_pixel(S, i, j, a + ((size_t)j * W + i) * 3);)
EACH(k_blur, (const float *a, float *b, int W, int Hh, float s, float dx, float dy), blur_pixel(a, b, W, Hh, i, j, s, dx, dy);)
EACH(k_tone, (Scene S, float *a, int W, int Hh), tone_pixel(S, a + ((size_t)j * W + i) * 3, i, j);)
EACH(k_out, (Scene S, const float *a, const float *b, uint8_t *o, int W, int Hh), out_pixel(S, a + ((size_t)j * W + i) * 3, b + ((size_t)j * W + i) * 3, o + ((size_t)j * W + i) * 3);)
#define RUN(k, ...) k<<<dim3((W + 15) / 16, (H + 7) / 8), dim3(16, 8)>>>(__VA_ARGS__)
#else
template <class F> static void each(int W, int H, F f) {
#pragma omp parallel for schedule(dynamic, 4)
	for (int j = 0; j < H; j++) for (int i = 0; i < W; i++) f(i, j);
}
#endif

struct Arrays { int64_t bytes[13]; };                       // of the pointers at the head of Scene, in order

extern "C" int march_scene_size() { return (int)sizeof(Scene); }

// Heights (n) of the bare roof at points (n, 2), on the processor.
extern "C" void march_heights(const Scene *S, const float *xy, float *z, int n) { for (int k = 0; k < n; k++) z[k] = roof(*S, xy[2 * k], xy[2 * k + 1], 0); }

// Height (n) of one course's top at points (n, 2), as if nothing lay over it; -1e9 where it does not lie.
extern "C" void march_course(const Scene *S, int course, const float *xy, float *z, int n) {
	for (int k = 0; k < n; k++) if (!course_top(*S, course, xy[2 * k], xy[2 * k + 1], z + k, 0)) z[k] = -1e9f;
}

// Drapes the courses over one another: fills bottom (courses x bh x gw) from base (gh x gw). bridge: mm over which a
// single ply is bridged.
extern "C" void march_drape(Scene *S, float *bottom, float bridge) {
	int gw = S->gw, gh = S->gh, bh = S->bh;
	std::vector<float> s(S->base, S->base + (size_t)gw * gh), d((size_t)gw * bh), e((size_t)gw * bh);
	int reach = (int)ceilf(1.8f * bridge / S->gp);
	float ply = S->piece[4], kappa = ply / (bridge * bridge) * S->gp * S->gp;
	for (int k = S->courses - 1; k >= 0; k--) {
		float foot = -k * S->E + S->lift - MARGIN;
		int r0 = (int)lroundf((foot - S->gy0) / S->gp);
		auto row = [&](int j) { j += r0; return s.data() + (size_t)(j < 0 ? 0 : j >= gh ? gh - 1 : j) * gw; };
		for (int j = 0; j < bh; j++) {
			float *o = d.data() + (size_t)j * gw;
			memcpy(o, row(j), gw * sizeof(float));
			for (int q = 1; q <= reach; q++) {
				const float *a = row(j - q), *b = row(j + q);
				float c = kappa * q * q;
				for (int i = 0; i < gw; i++) { float m = a[i] > b[i] ? a[i] : b[i]; m -= c; if (m > o[i]) o[i] = m; }
			}
		}
		for (int j = 0; j < bh; j++) {
			const float *a = d.data() + (size_t)j * gw;
			float *o = e.data() + (size_t)j * gw;
			memcpy(o, a, gw * sizeof(float));
			for (int q = 1; q <= reach && q < gw; q++) {
				float c = kappa * q * q;
				for (int i = 0; i < gw - q; i++) { float m = a[i + q] - c; if (m > o[i]) o[i] = m; }
				for (int i = q; i < gw; i++) { float m = a[i - q] - c; if (m > o[i]) o[i] = m; }
			}
		}
		float *out = bottom + (size_t)k * bh * gw;
		for (int j = 0; j < bh; j++)                        // a sheet has no edges: smoothed over three cells
			for (int i = 0; i < gw; i++) {
				float t = 0; int n = 0;
				for (int b = -1; b <= 1; b++) for (int a = -1; a <= 1; a++) {
					int x = i + a, y = j + b;
					if (x >= 0 && y >= 0 && x < gw && y < bh) { t += e[(size_t)y * gw + x]; n++; }
				}
				out[(size_t)j * gw + i] = t / n;
			}
		S->bottom = bottom;
		for (int j = 0; j < bh; j++) {
			int y = r0 + j;
			if (y < 0 || y >= gh) continue;
			for (int i = 0; i < gw; i++) {
				float z;
				if (course_top(*S, k, S->gx0 + i * S->gp, S->gy0 + y * S->gp, &z, 0) && z > s[(size_t)y * gw + i]) s[(size_t)y * gw + i] = z;
			}
		}
	}
}

// Renders a scene: linear light (h, w, 3; may be null) and what the phone makes of it (h, w, 3; BGR; may be null).
extern "C" int march_render(const Scene *scene, const Arrays *sizes, float *linear, uint8_t *out) {
	Scene S = *scene;
	int W = S.w, H = S.h;
	size_t n = (size_t)W * H * 3;
#ifdef __CUDACC__
	const void **p = (const void **)&S;
	void *held[13] = {0};
	float *a = 0, *b = 0, *c = 0; uint8_t *o = 0;
	int bad = 0;
	for (int k = 0; k < 13; k++) {
		bad |= cudaMalloc(&held[k], sizes->bytes[k] + 16) != cudaSuccess;
		if (!bad) bad |= cudaMemcpy(held[k], p[k], sizes->bytes[k], cudaMemcpyHostToDevice) != cudaSuccess;
		p[k] = held[k];
	}
	bad |= cudaMalloc(&a, n * 4) != cudaSuccess;
	if (!bad) {
		RUN(k_render, S, a, W, H);
		if (linear) bad |= cudaMemcpy(linear, a, n * 4, cudaMemcpyDeviceToHost) != cudaSuccess;
	}
	if (!bad && out) {
		bad |= cudaMalloc(&b, n * 4) != cudaSuccess || cudaMalloc(&o, n) != cudaSuccess;
		if (!bad) {
			RUN(k_blur, a, b, W, H, S.blur, 1, 0); RUN(k_blur, b, a, W, H, S.blur, 0, 1);
			float m = hypotf(S.motion_x, S.motion_y);
			if (m > 1) { RUN(k_blur, a, b, W, H, m / 2, S.motion_x / m, S.motion_y / m); float *t = a; a = b; b = t; }
			RUN(k_tone, S, a, W, H);
			bad |= cudaMalloc(&c, n * 4) != cudaSuccess;
			if (!bad) {
				RUN(k_blur, a, b, W, H, S.sharpen_radius, 1, 0); RUN(k_blur, b, c, W, H, S.sharpen_radius, 0, 1);
				RUN(k_out, S, a, c, o, W, H);
				bad |= cudaMemcpy(out, o, n, cudaMemcpyDeviceToHost) != cudaSuccess;
			}
		}
	}
	bad |= cudaDeviceSynchronize() != cudaSuccess;
	for (void *h : held) cudaFree(h);
	cudaFree(a); cudaFree(b); cudaFree(c); cudaFree(o);
	return bad;
#else
	(void)sizes;
	std::vector<float> va(n), vb, vc;
	float *a = va.data();
	each(W, H, [&](int i, int j) { render_pixel(S, i, j, a + ((size_t)j * W + i) * 3); });
	if (linear) memcpy(linear, a, n * 4);
	if (!out) return 0;
	vb.resize(n); vc.resize(n);
	float *b = vb.data(), *c = vc.data();
	auto blur = [&](const float *x, float *y, float s, float dx, float dy) { each(W, H, [&](int i, int j) { blur_pixel(x, y, W, H, i, j, s, dx, dy); }); };
	blur(a, b, S.blur, 1, 0); blur(b, a, S.blur, 0, 1);
	float m = hypotf(S.motion_x, S.motion_y);
	if (m > 1) { blur(a, b, m / 2, S.motion_x / m, S.motion_y / m); std::swap(a, b); }
	each(W, H, [&](int i, int j) { tone_pixel(S, a + ((size_t)j * W + i) * 3, i, j); });
	blur(a, b, S.sharpen_radius, 1, 0); blur(b, c, S.sharpen_radius, 0, 1);
	each(W, H, [&](int i, int j) { size_t k = ((size_t)j * W + i) * 3; out_pixel(S, a + k, c + k, out + k); });
	return 0;
#endif
}
