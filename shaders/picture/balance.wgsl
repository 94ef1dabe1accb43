// Twin of src/picture/balance.rs.

struct Balance {
    offset_r: f32,
    offset_g: f32,
    offset_b: f32,
    gain: f32,
}

fn balance_linear(b: Balance, v: vec3<f32>) -> vec3<f32> {
    return v * b.gain;
}

fn balance_acescct(b: Balance, v: vec3<f32>) -> vec3<f32> {
    return v + vec3(b.offset_r, b.offset_g, b.offset_b);
}
