// Twin of src/colour/matrix.rs: three rows; the fourth number of each is added after the product.

struct Matrix {
    r: vec4<f32>,
    g: vec4<f32>,
    b: vec4<f32>,
}

fn transform(m: Matrix, v: vec3<f32>) -> vec3<f32> {
    return vec3(
        m.r.x * v.x + m.r.y * v.y + m.r.z * v.z,
        m.g.x * v.x + m.g.y * v.y + m.g.z * v.z,
        m.b.x * v.x + m.b.y * v.y + m.b.z * v.z,
    );
}

fn transform_and_add(m: Matrix, v: vec3<f32>) -> vec3<f32> {
    return transform(m, v) + vec3(m.r.w, m.g.w, m.b.w);
}
