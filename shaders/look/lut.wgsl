// Twin of src/look/lut.rs and src/colour/lut.rs. The cube's entries stand at (red, green, blue); the curve's follow in
// the slices behind it, a slice's rows filled one after the other.

fn lut_places(v: vec3<f32>, scale: vec3<f32>, start: vec3<f32>, last: f32) -> vec3<f32> {
    return clamp(v * scale + start, vec3(0.0), vec3(last));
}

fn lut_entry(table: texture_3d<f32>, first: i32, i: i32) -> vec3<f32> {
    let width = i32(textureDimensions(table).x);
    let row = i / width;
    return textureLoad(table, vec3(i % width, row % width, first + row / width), 0).xyz;
}

fn lut_shaper(table: texture_3d<f32>, first: i32, last: f32, place: vec3<f32>) -> vec3<f32> {
    let low = min(floor(place), vec3(last - 1.0));
    let t = place - low;
    let i = vec3<i32>(low);
    let from_here = vec3(
        lut_entry(table, first, i.x).x,
        lut_entry(table, first, i.y).y,
        lut_entry(table, first, i.z).z,
    );
    let to_there = vec3(
        lut_entry(table, first, i.x + 1).x,
        lut_entry(table, first, i.y + 1).y,
        lut_entry(table, first, i.z + 1).z,
    );
    return from_here + (to_there - from_here) * t;
}

fn lut_cube(table: texture_3d<f32>, last: f32, place: vec3<f32>) -> vec3<f32> {
    let low = min(floor(place), vec3(last - 1.0));
    let t = place - low;
    let at = vec3<i32>(low);
    let x_first = t.x >= t.y && t.x >= t.z;
    let first = select(select(vec3(0, 0, 1), vec3(0, 1, 0), t.y >= t.z), vec3(1, 0, 0), x_first);
    let z_third = t.z <= t.x && t.z <= t.y;
    let second = select(select(vec3(0, 1, 1), vec3(1, 0, 1), t.y <= t.x), vec3(1, 1, 0), z_third);
    let most = max(t.x, max(t.y, t.z));
    let least = min(t.x, min(t.y, t.z));
    let middle = max(min(t.x, t.y), min(max(t.x, t.y), t.z));
    return (1.0 - most) * textureLoad(table, at, 0).xyz
        + (most - middle) * textureLoad(table, at + first, 0).xyz
        + (middle - least) * textureLoad(table, at + second, 0).xyz
        + least * textureLoad(table, at + vec3(1), 0).xyz;
}

fn lut_expects_curve(p: Lut) -> Curve {
    return Curve(
        p.expects_family, p.expects_k0, p.expects_k1, p.expects_k2, p.expects_k3, p.expects_k4,
        p.expects_k5, p.expects_k6, p.expects_k7, p.expects_k8, p.expects_k9, p.expects_k10,
    );
}

fn lut_expects_matrix(p: Lut) -> Matrix {
    return Matrix(
        vec4(p.expects_r_r, p.expects_r_g, p.expects_r_b, 0.0),
        vec4(p.expects_g_r, p.expects_g_g, p.expects_g_b, 0.0),
        vec4(p.expects_b_r, p.expects_b_g, p.expects_b_b, 0.0),
    );
}

fn lut_gives_curve(p: Lut) -> Curve {
    return Curve(
        p.gives_family, p.gives_k0, p.gives_k1, p.gives_k2, p.gives_k3, p.gives_k4,
        p.gives_k5, p.gives_k6, p.gives_k7, p.gives_k8, p.gives_k9, p.gives_k10,
    );
}

fn lut_gives_matrix(p: Lut) -> Matrix {
    return Matrix(
        vec4(p.gives_r_r, p.gives_r_g, p.gives_r_b, 0.0),
        vec4(p.gives_g_r, p.gives_g_g, p.gives_g_b, 0.0),
        vec4(p.gives_b_r, p.gives_b_g, p.gives_b_b, 0.0),
    );
}

fn lut(p: Lut, signal: vec3<f32>, table: texture_3d<f32>) -> vec3<f32> {
    var v = signal;
    if p.expects_other > 0.0 {
        v = curve_encode(lut_expects_curve(p), transform(lut_expects_matrix(p), acescct_decode(v)));
    }
    if p.shaped > 0.0 {
        let scale = vec3(p.shaper_scale_r, p.shaper_scale_g, p.shaper_scale_b);
        let start = vec3(p.shaper_start_r, p.shaper_start_g, p.shaper_start_b);
        let first = select(0, i32(p.cube_last) + 1, p.cubed > 0.0);
        v = lut_shaper(table, first, p.shaper_last, lut_places(v, scale, start, p.shaper_last));
    }
    if p.cubed > 0.0 {
        let scale = vec3(p.cube_scale_r, p.cube_scale_g, p.cube_scale_b);
        let start = vec3(p.cube_start_r, p.cube_start_g, p.cube_start_b);
        v = lut_cube(table, p.cube_last, lut_places(v, scale, start, p.cube_last));
    }
    if p.gives_other > 0.0 {
        v = acescct_encode(transform(lut_gives_matrix(p), curve_decode(lut_gives_curve(p), v)));
    }
    return v;
}
