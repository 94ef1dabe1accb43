// For passes that stages which read their neighbours take: see src/picture/spread.rs.

// What of a pixel is over a threshold, which rises from nothing to all of it. Twin of `over` in src/look/diffusion.rs.
fn over_threshold(rate: f32, start: f32, v: vec3<f32>) -> vec3<f32> {
    let light = 0.2722287 * v.x + 0.6740818 * v.y + 0.0536895 * v.z;
    let t = clamp(rate * log_2(max(light, 1e-10)) + start, 0.0, 1.0);
    return v * (t * t * (3.0 - 2.0 * t));
}
