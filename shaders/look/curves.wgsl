// Twin of src/look/curves.rs.

fn curves_lift(v: f32, h: vec4<f32>, h4: f32, m: vec4<f32>, m4: f32) -> f32 {
    let u = (v - GREY_ACESCCT) * 5.84 + 2.0;
    let k = clamp(u, 0.0, 4.0);
    // Lift and slope at either end of the span.
    var s = vec4(h.x, h.y, m.x, m.y);
    s = select(s, vec4(h.y, h.z, m.y, m.z), k >= 1.0);
    s = select(s, vec4(h.z, h.w, m.z, m.w), k >= 2.0);
    s = select(s, vec4(h.w, h4, m.w, m4), k >= 3.0);
    let t = k - min(floor(k), 3.0);
    let rise = s.y - s.x;
    let cubic = s.z + s.w - 2.0 * rise;
    let square = rise - s.z - cubic;
    let inside = s.x + t * (s.z + t * (square + t * cubic));
    return inside + (u - k) * select(m4, m.x, u < 0.0);
}

fn curves(p: Curves, v: vec3<f32>) -> vec3<f32> {
    let h = vec4(p.master_h0, p.master_h1, p.master_h2, p.master_h3);
    let m = vec4(p.master_m0, p.master_m1, p.master_m2, p.master_m3);
    let all = v + vec3(
        curves_lift(v.x, h, p.master_h4, m, p.master_m4),
        curves_lift(v.y, h, p.master_h4, m, p.master_m4),
        curves_lift(v.z, h, p.master_h4, m, p.master_m4),
    );
    let red = curves_lift(all.x, vec4(p.red_h0, p.red_h1, p.red_h2, p.red_h3), p.red_h4,
        vec4(p.red_m0, p.red_m1, p.red_m2, p.red_m3), p.red_m4);
    let green = curves_lift(all.y, vec4(p.green_h0, p.green_h1, p.green_h2, p.green_h3), p.green_h4,
        vec4(p.green_m0, p.green_m1, p.green_m2, p.green_m3), p.green_m4);
    let blue = curves_lift(all.z, vec4(p.blue_h0, p.blue_h1, p.blue_h2, p.blue_h3), p.blue_h4,
        vec4(p.blue_m0, p.blue_m1, p.blue_m2, p.blue_m3), p.blue_m4);
    return all + vec3(red, green, blue);
}
