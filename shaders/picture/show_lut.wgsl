// Twin of src/picture/show_lut.rs.

struct ShowLut {
    @align(16) to_expected: Matrix,
    @align(16) expects: Curve,
    @align(16) gives: Curve,
    @align(16) matrix: Matrix,
    @align(16) table: Table,
    @align(16) converted: f32,
}

fn show_lut(
    p: ShowLut, widening: Matrix, widened: f32, encode: Curve, acescg: vec3<f32>, table: texture_3d<f32>,
) -> vec3<f32> {
    let log = curve_encode(p.expects, transform(p.to_expected, acescg));
    var v = clamp(table_value(p.table, log, table), vec3(0.0), vec3(1.0));
    if p.converted > 0.0 {
        var light = clamp(transform(p.matrix, curve_decode_light(p.gives, v)), vec3(0.0), vec3(1.0));
        if widened > 0.0 {
            light = clamp(transform(widening, light), vec3(0.0), vec3(1.0));
        }
        v = curve_encode_light(encode, light);
    }
    return v;
}
