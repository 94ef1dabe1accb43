// Twin of src/look/monochrome.rs.

fn monochrome(p: Monochrome, v: vec3<f32>) -> vec3<f32> {
    let silver = v.x * p.weight_r + v.y * p.weight_g + v.z * p.weight_b;
    return v * (1.0 - p.amount) + silver * p.amount;
}
