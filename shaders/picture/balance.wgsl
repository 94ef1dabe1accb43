// Twin of src/picture/balance.rs.

struct Balance {
    gain: f32,
    offset: array<f32, 3>,
}

fn balance_linear(b: Balance, v: vec3<f32>) -> vec3<f32> {
    return v * b.gain;
}

fn balance_acescct(b: Balance, v: vec3<f32>) -> vec3<f32> {
    return v + vec3(b.offset[0], b.offset[1], b.offset[2]);
}
