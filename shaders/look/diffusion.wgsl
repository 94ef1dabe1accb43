// Twin of src/look/diffusion.rs.

fn diffusion_source(p: Diffusion, v: vec3<f32>) -> vec3<f32> {
    return over_threshold(p.rate, p.start, v);
}

fn diffusion(p: Diffusion, v: vec3<f32>, source: vec3<f32>, spread: vec3<f32>) -> vec3<f32> {
    return v + p.amount * (spread - source);
}
