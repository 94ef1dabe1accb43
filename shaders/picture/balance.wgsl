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

fn zone_weight(rate: f32, start: f32, luma: f32) -> f32 {
    let t = clamp(luma * rate + start, 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}

fn balance_linear(b: Balance, v: vec3<f32>) -> vec3<f32> {
    return transform(b.matrix, v);
}

fn balance_acescct(b: Balance, rgb: vec3<f32>) -> vec3<f32> {
    let l = luma_709(rgb);
    let shadow = zone_weight(b.shadow_rate, b.shadow_start, l);
    let highlight = zone_weight(b.highlight_rate, b.highlight_start, l);
    let zoned = rgb + shadow * b.shadow + highlight * b.highlight;
    return cdl_forward_no_clamp(b.slope, b.offset, b.power, b.saturation, zoned);
}
