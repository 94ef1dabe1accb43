// Twin of src/look/split_tone.rs.

fn split_tone(p: SplitTone, v: vec3<f32>) -> vec3<f32> {
    let luma = v.x * 0.2126 + v.y * 0.7152 + v.z * 0.0722;
    let d = luma - GREY_ACESCCT;
    let share = d * d / (d * d + p.width_squared);
    let shadow = vec3(p.shadow_r, p.shadow_g, p.shadow_b);
    let highlight = vec3(p.highlight_r, p.highlight_g, p.highlight_b);
    return v + share * select(highlight, shadow, d < 0.0);
}
