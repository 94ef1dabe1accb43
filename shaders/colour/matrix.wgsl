// Twin of src/colour/matrix.rs: nine numbers, row by row.

fn transform(m: array<f32, 9>, v: vec3<f32>) -> vec3<f32> {
    return vec3(
        m[0] * v.x + m[1] * v.y + m[2] * v.z,
        m[3] * v.x + m[4] * v.y + m[5] * v.z,
        m[6] * v.x + m[7] * v.y + m[8] * v.z,
    );
}
