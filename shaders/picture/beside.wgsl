// Twin of src/picture/beside.rs. `picture` and `reference` are the pass's own.

struct Beside {
    // Across and down; how they share the place; what dither goes by.
    size: vec2<u32>,
    way: u32,
    frame: u32,
    normal: vec2<f32>,
    line: f32,
    times: f32,
    code_max: f32,
    surround: f32,
    spare: vec2<f32>,
}

fn beside_code(b: Beside, at: vec2<u32>, signal: vec3<f32>) -> vec3<f32> {
    return quantise(signal, b.code_max, dither_noise(at.x, at.y, b.frame)) / b.code_max;
}

fn beside_reference(at: vec2<u32>) -> vec3<f32> {
    return vec3<f32>(textureLoad(reference, vec2<i32>(at), 0).xyz) / 65535.0;
}

fn beside_picture(at: vec2<u32>) -> vec3<f32> {
    return textureLoad(picture, vec2<i32>(at), 0).xyz;
}

fn beside_wipe(b: Beside, at: vec2<u32>) -> vec3<f32> {
    let off = (vec2<f32>(at) + 0.5 - vec2<f32>(b.size) * 0.5) * b.normal;
    if off.x + off.y < b.line {
        return beside_code(b, at, beside_reference(at));
    }
    return beside_picture(at);
}

fn beside_side(b: Beside, at: vec2<u32>) -> vec3<f32> {
    let half = b.size / vec2(2u);
    let top = (b.size.y - half.y) / 2u;
    let left = at.x < half.x;
    let right = at.x >= b.size.x - half.x;
    if !(left || right) || at.y < top || at.y >= top + half.y {
        return vec3(b.surround);
    }
    let first = 2u * vec2(select(at.x - (b.size.x - half.x), at.x, left), at.y - top);
    var v: vec3<f32>;
    if left {
        v = (beside_reference(first) + beside_reference(first + vec2(1u, 0u)))
            + (beside_reference(first + vec2(0u, 1u)) + beside_reference(first + vec2(1u, 1u)));
    } else {
        v = (beside_picture(first) + beside_picture(first + vec2(1u, 0u)))
            + (beside_picture(first + vec2(0u, 1u)) + beside_picture(first + vec2(1u, 1u)));
    }
    return beside_code(b, at, v * 0.25);
}

fn beside_difference(b: Beside, at: vec2<u32>) -> vec3<f32> {
    let other = beside_code(b, at, beside_reference(at));
    return min(abs(beside_picture(at) - other) * b.times, vec3(1.0));
}

fn beside(b: Beside, at: vec2<u32>) -> vec3<f32> {
    if b.way == 0u {
        return beside_wipe(b, at);
    }
    if b.way == 1u {
        return beside_side(b, at);
    }
    return beside_difference(b, at);
}
