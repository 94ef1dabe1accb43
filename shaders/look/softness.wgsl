// Twin of src/look/softness.rs.

fn softness_source(p: Softness, v: vec3<f32>) -> vec3<f32> {
    return v;
}

fn softness(p: Softness, v: vec3<f32>, source: vec3<f32>, spread: vec3<f32>) -> vec3<f32> {
    return v + p.amount * (spread - source);
}
