// Twin of src/look/lut.rs.

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
    let numbers = Table(
        p.shaped, p.shaper_last, p.shaper_scale_r, p.shaper_scale_g, p.shaper_scale_b,
        p.shaper_start_r, p.shaper_start_g, p.shaper_start_b,
        p.cubed, p.cube_last, p.cube_scale_r, p.cube_scale_g, p.cube_scale_b,
        p.cube_start_r, p.cube_start_g, p.cube_start_b,
    );
    var v = signal;
    if p.expects_other > 0.0 {
        v = curve_encode(lut_expects_curve(p), transform(lut_expects_matrix(p), acescct_decode(v)));
    }
    v = table_value(numbers, v, table);
    if p.gives_other > 0.0 {
        v = acescct_encode(transform(lut_gives_matrix(p), curve_decode(lut_gives_curve(p), v)));
    }
    return v;
}
