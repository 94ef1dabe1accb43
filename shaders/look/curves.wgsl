// Twin of src/look/curves.rs.

// A span: what is added at its start, and slope, square and cube terms from there.
fn curves_lift(v: f32, x: vec4<f32>, x4: f32, s0: vec4<f32>, s1: vec4<f32>, s2: vec4<f32>, s3: vec4<f32>, m4: f32) -> f32 {
    let k = clamp(v, x.x, x4);
    var s = s0;
    var start = x.x;
    s = select(s, s1, k >= x.y);
    start = select(start, x.y, k >= x.y);
    s = select(s, s2, k >= x.z);
    start = select(start, x.z, k >= x.z);
    s = select(s, s3, k >= x.w);
    start = select(start, x.w, k >= x.w);
    let t = k - start;
    let inside = s.x + t * (s.y + t * (s.z + t * s.w));
    return inside + (v - k) * select(m4, s0.y, v < x.x);
}

fn curves(p: Curves, v: vec3<f32>) -> vec3<f32> {
    let x = vec4(p.master_x0, p.master_x1, p.master_x2, p.master_x3);
    let s0 = vec4(p.master_h0, p.master_m0, p.master_c0, p.master_d0);
    let s1 = vec4(p.master_h1, p.master_m1, p.master_c1, p.master_d1);
    let s2 = vec4(p.master_h2, p.master_m2, p.master_c2, p.master_d2);
    let s3 = vec4(p.master_h3, p.master_m3, p.master_c3, p.master_d3);
    let all = v + vec3(
        curves_lift(v.x, x, p.master_x4, s0, s1, s2, s3, p.master_m4),
        curves_lift(v.y, x, p.master_x4, s0, s1, s2, s3, p.master_m4),
        curves_lift(v.z, x, p.master_x4, s0, s1, s2, s3, p.master_m4),
    );
    let red = curves_lift(
        all.x,
        vec4(p.red_x0, p.red_x1, p.red_x2, p.red_x3), p.red_x4,
        vec4(p.red_h0, p.red_m0, p.red_c0, p.red_d0),
        vec4(p.red_h1, p.red_m1, p.red_c1, p.red_d1),
        vec4(p.red_h2, p.red_m2, p.red_c2, p.red_d2),
        vec4(p.red_h3, p.red_m3, p.red_c3, p.red_d3), p.red_m4,
    );
    let green = curves_lift(
        all.y,
        vec4(p.green_x0, p.green_x1, p.green_x2, p.green_x3), p.green_x4,
        vec4(p.green_h0, p.green_m0, p.green_c0, p.green_d0),
        vec4(p.green_h1, p.green_m1, p.green_c1, p.green_d1),
        vec4(p.green_h2, p.green_m2, p.green_c2, p.green_d2),
        vec4(p.green_h3, p.green_m3, p.green_c3, p.green_d3), p.green_m4,
    );
    let blue = curves_lift(
        all.z,
        vec4(p.blue_x0, p.blue_x1, p.blue_x2, p.blue_x3), p.blue_x4,
        vec4(p.blue_h0, p.blue_m0, p.blue_c0, p.blue_d0),
        vec4(p.blue_h1, p.blue_m1, p.blue_c1, p.blue_d1),
        vec4(p.blue_h2, p.blue_m2, p.blue_c2, p.blue_d2),
        vec4(p.blue_h3, p.blue_m3, p.blue_c3, p.blue_d3), p.blue_m4,
    );
    return all + vec3(red, green, blue);
}
