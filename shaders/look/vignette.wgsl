// Twin of src/look/vignette.rs.

fn vignette(p: Vignette, v: vec3<f32>, spot: Spot) -> vec3<f32> {
    let x = f32(spot.x) - p.middle_x;
    let y = f32(spot.y) - p.middle_y;
    let distance_ = sqrt(x * x * p.across + y * y * p.down);
    let t = max((distance_ - p.clear) * p.reach, 0.0);
    let inverse_ = 1.0 + p.corner * (t * t);
    return v * (1.0 / (inverse_ * inverse_));
}
