// Twin of src/look/saturation.rs.

const SATURATION_EASE: f32 = 0.028538812785388128; // half a stop

fn saturation(p: Saturation, v: vec3<f32>) -> vec3<f32> {
    let red = v.x - v.y;
    let blue = v.z - v.y;
    let above = red * 0.2126 + blue * 0.0722;
    let c = vec3(red - above, -above, blue - above);
    let squared = dot(c, c);
    let before = sqrt(squared);
    let gain = p.rise / (1.0 + p.spare * squared);
    let after = before + before * gain;
    // One division for the two that its depths ask for.
    let eased_after = after + SATURATION_EASE;
    let eased_before = before + SATURATION_EASE;
    let deep_after = p.depth_after * after * after * eased_before;
    let deep_before = p.depth_before * before * before * eased_after;
    let deeper = (deep_after - deep_before) / (eased_after * eased_before);
    return v + (c * gain - deeper);
}
