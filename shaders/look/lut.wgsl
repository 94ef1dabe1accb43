// Twin of src/look/lut.rs.

fn lut(p: Lut, signal: vec3<f32>, table: texture_3d<f32>) -> vec3<f32> {
    let numbers = Table(
        p.shaped, p.shaper_last, p.shaper_scale_r, p.shaper_scale_g, p.shaper_scale_b,
        p.shaper_start_r, p.shaper_start_g, p.shaper_start_b,
        p.cubed, p.cube_last, p.cube_scale_r, p.cube_scale_g, p.cube_scale_b,
        p.cube_start_r, p.cube_start_g, p.cube_start_b,
    );
    return table_value(numbers, signal, table);
}
