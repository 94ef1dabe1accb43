// Twin of src/look/grain.rs. Shares and what cells hold are whole numbers whose sums stay under 2²⁴, so floats hold the
// field exactly.

const GRAIN_BLACK: f32 = 0.0729055341958355;
const GRAIN_LINE: f32 = 0.19237933985724881;
const GRAIN_TOE: f32 = 0.31185314551866211;
const GRAIN_MOST: f32 = 0.82440523310065883;
const GRAIN_RISE: f32 = 3.1644273144197701;
const GRAIN_TOE_SLOPE: f32 = 2.5732454750314107;
const GRAIN_STRAIGHT: f32 = 0.477;
const GRAIN_COLUMN: u32 = 0xc13fa9a9u;
const GRAIN_ROW: u32 = 0x91e10da5u;

fn grain_cell(key: u32, seed: u32) -> vec3<f32> {
    let drawn = hash(key ^ seed);
    let values = (drawn & 0x01f07c1fu) + 0x02008020u - ((drawn >> 5u) & 0x01f07c1fu);
    return vec3(f32(values & 0x3ffu), f32((values >> 10u) & 0x3ffu), f32(values >> 20u));
}

fn grain_row(key: u32, seed: u32, shares: vec3<f32>) -> vec3<f32> {
    return shares.x * grain_cell(key, seed)
        + shares.y * grain_cell(key + GRAIN_COLUMN, seed)
        + shares.z * grain_cell(key + 2u * GRAIN_COLUMN, seed);
}

fn grain_shares(place: u32) -> vec3<f32> {
    let k = f32((place >> 12u) & 15u);
    return vec3((16.0 - k) * (16.0 - k), 256.0 + 32.0 * k - 2.0 * k * k, k * k);
}

// Three layers in whole numbers; then the sum of squares of their shares.
fn grain_field(p: Grain, spot: Spot) -> vec4<f32> {
    let seed = hash(spot.frame ^ (u32(p.seed) << 24u) ^ 0x67726169u);
    let drift = u32(p.drift);
    let step = u32(p.step);
    let x = spot.x * step + (seed & drift);
    let y = spot.y * step + ((seed >> 16u) & drift);
    let still = vec3(p.beside, 512.0 - 2.0 * p.beside, p.beside);
    let across = select(grain_shares(x), still, drift == 0u);
    let down = select(grain_shares(y), still, drift == 0u);
    let key = (x >> 16u) * GRAIN_COLUMN + (y >> 16u) * GRAIN_ROW;
    let sums = down.x * grain_row(key, seed, across)
        + down.y * grain_row(key + GRAIN_ROW, seed, across)
        + down.z * grain_row(key + 2u * GRAIN_ROW, seed, across);
    let squares = (dot(across, across) * 3.814697265625e-6) * (dot(down, down) * 3.814697265625e-6);
    return vec4(sums - 8388608.0, squares);
}

fn grain(p: Grain, v: vec3<f32>, spot: Spot) -> vec3<f32> {
    let field = grain_field(p, spot);
    let layers = field.xyz * (3.814697265625e-6 * inverseSqrt(field.w));
    let joint = (layers.x + layers.y + layers.z) * p.joint;
    let held = clamp(v, vec3(GRAIN_BLACK), vec3(GRAIN_MOST));
    let line = sqrt(max((held - GRAIN_LINE) * GRAIN_RISE, vec3(0.0)));
    let root = select(line, (held - GRAIN_BLACK) * GRAIN_TOE_SLOPE, held < vec3(GRAIN_TOE));
    let lift = p.lift * (root * root) * (held - GRAIN_STRAIGHT);
    return v + (root * (layers * p.own + joint) + lift);
}
