// Twin of src/look/contrast.rs.

fn contrast_one(p: Contrast, v: f32) -> f32 {
    let t = (v - GREY_ACESCCT) * p.slope;
    let bend = select(p.shoulder_bend, p.toe_bend, t < 0.0);
    return GREY_ACESCCT + t * inverseSqrt(1.0 + bend * t * t);
}

fn contrast(p: Contrast, v: vec3<f32>) -> vec3<f32> {
    return vec3(contrast_one(p, v.x), contrast_one(p, v.y), contrast_one(p, v.z));
}
