// Twin of src/look/halation.rs.

fn halation_source(p: Halation, v: vec3<f32>) -> vec3<f32> {
    return over_threshold(p.rate, p.start, v);
}

fn halation(p: Halation, v: vec3<f32>, source: vec3<f32>, spread: vec3<f32>) -> vec3<f32> {
    return v + p.amount * vec3(p.red, p.green, p.blue) * (spread - source);
}
