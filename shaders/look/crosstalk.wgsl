// Twin of src/look/crosstalk.rs.

fn crosstalk(p: Crosstalk, v: vec3<f32>) -> vec3<f32> {
    let red = vec3(0.0, p.green_from_red, p.blue_from_red) * (v.x - v);
    let green = vec3(p.red_from_green, 0.0, p.blue_from_green) * (v.y - v);
    let blue = vec3(p.red_from_blue, p.green_from_blue, 0.0) * (v.z - v);
    return v + (red + green + blue);
}
