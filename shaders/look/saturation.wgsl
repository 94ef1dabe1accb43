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
    let deeper = p.depth_after * (after * after / (after + SATURATION_EASE))
        - p.depth_before * (before * before / (before + SATURATION_EASE));
    return v + (c * gain - deeper);
}
