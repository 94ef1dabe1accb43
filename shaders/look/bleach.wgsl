// Twin of src/look/bleach.rs.

fn bleach(p: Bleach, v: vec3<f32>) -> vec3<f32> {
    let red = v.x - v.y;
    let blue = v.z - v.y;
    let above = (red + blue) * 0.33333334;
    let tone = GREY_ACESCCT + (v.y + above - GREY_ACESCCT) * p.tone;
    return tone + vec3(red - above, -above, blue - above) * p.colour;
}
