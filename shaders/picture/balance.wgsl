// Twin of src/picture/balance.rs.

struct Balance {
    matrix: Matrix,
    shadow: vec3<f32>,
    shadow_rate: f32,
    highlight: vec3<f32>,
    highlight_rate: f32,
    slope: vec3<f32>,
    shadow_start: f32,
    offset: vec3<f32>,
    highlight_start: f32,
    power: vec3<f32>,
    saturation: f32,
}

fn balance_luma(v: vec3<f32>) -> f32 {
    return v.x * 0.2126 + v.y * 0.7152 + v.z * 0.0722;
}

fn zone_weight(rate: f32, start: f32, luma: f32) -> f32 {
    let t = clamp(luma * rate + start, 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}

fn balance_power_one(v: f32, exponent: f32) -> f32 {
    return select(power(v, exponent), v, v < 0.0 || exponent == 1.0);
}

fn balance_linear(b: Balance, v: vec3<f32>) -> vec3<f32> {
    return transform(b.matrix, v);
}

fn balance_acescct(b: Balance, rgb: vec3<f32>) -> vec3<f32> {
    let l = balance_luma(rgb);
    let shadow = zone_weight(b.shadow_rate, b.shadow_start, l);
    let highlight = zone_weight(b.highlight_rate, b.highlight_start, l);
    let zoned = rgb + shadow * b.shadow + highlight * b.highlight;
    var v = zoned * b.slope + b.offset;
    // A loop of one round or none, since software GPUs run both sides of a branch.
    let rounds = select(0, 1, any(b.power != vec3(1.0)));
    for (var round = 0; round < rounds; round++) {
        v = vec3(
            balance_power_one(v.x, b.power.x),
            balance_power_one(v.y, b.power.y),
            balance_power_one(v.z, b.power.z),
        );
    }
    let m = balance_luma(v);
    return select(m + (v - m) * b.saturation, v, b.saturation == 1.0);
}
