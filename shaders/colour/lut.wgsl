// Twin of src/colour/lut.rs. The cube's entries stand at (red, green, blue); the curve's follow in the slices behind
// it, a slice's rows filled one after the other.

// Of the curve and of the cube: is it there (0 or 1), its entries along an edge less one, and what makes places of
// signal.
struct Table {
    shaped: f32,
    shaper_last: f32,
    shaper_scale_r: f32,
    shaper_scale_g: f32,
    shaper_scale_b: f32,
    shaper_start_r: f32,
    shaper_start_g: f32,
    shaper_start_b: f32,
    cubed: f32,
    cube_last: f32,
    cube_scale_r: f32,
    cube_scale_g: f32,
    cube_scale_b: f32,
    cube_start_r: f32,
    cube_start_g: f32,
    cube_start_b: f32,
}

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

fn table_value(p: Table, signal: vec3<f32>, table: texture_3d<f32>) -> vec3<f32> {
    var v = signal;
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
    return v;
}
