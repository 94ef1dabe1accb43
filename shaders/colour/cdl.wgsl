// Twin of src/colour/cdl.rs: ASC CDL v1.2 without its clamps.

fn luma_709(v: vec3<f32>) -> f32 {
    return v.x * 0.2126 + v.y * 0.7152 + v.z * 0.0722;
}

fn cdl_raised(v: f32, exponent: f32) -> f32 {
    return select(power(v, exponent), v, v < 0.0 || exponent == 1.0);
}

fn cdl_forward_no_clamp(
    slope: vec3<f32>, offset: vec3<f32>, exponent: vec3<f32>, saturation: f32, rgb: vec3<f32>,
) -> vec3<f32> {
    var v = rgb * slope + offset;
    if any(exponent != vec3(1.0)) {
        v = vec3(
            cdl_raised(v.x, exponent.x),
            cdl_raised(v.y, exponent.y),
            cdl_raised(v.z, exponent.z),
        );
    }
    let luma = luma_709(v);
    return select(luma + (v - luma) * saturation, v, saturation == 1.0);
}
