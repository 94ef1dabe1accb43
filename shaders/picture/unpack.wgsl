// Twin of src/picture/unpack.rs. Samples arrive as their bits: codes, halves or floats.

struct Unpack {
    matrix: Matrix,
    chroma_scale: vec2<f32>,
    chroma_start: vec2<f32>,
    // 0 integer codes, 1 half floats, 2 single floats.
    sample: f32,
    frame: u32,
}

// By the exponent's bits, since a compiler may assume that NaN does not occur.
fn clean(v: f32) -> f32 {
    let bits = bitcast<u32>(v);
    if (bits & 0x7f800000u) == 0x7f800000u {
        if (bits & 0x007fffffu) != 0u {
            return 0.0;
        }
        return select(65504.0, -65504.0, (bits & 0x80000000u) != 0u);
    }
    return clamp(v, -65504.0, 65504.0);
}

// A half's bits to a float, without arithmetic on NaN or infinity.
fn clean_half(bits: u32) -> f32 {
    if (bits & 0x7c00u) == 0x7c00u {
        if (bits & 0x03ffu) != 0u {
            return 0.0;
        }
        return select(65504.0, -65504.0, (bits & 0x8000u) != 0u);
    }
    return unpack2x16float(bits).x;
}

fn sample_value(u: Unpack, bits: u32) -> f32 {
    switch u32(u.sample) {
        case 1u: {
            return clean_half(bits);
        }
        case 2u: {
            return clean(bitcast<f32>(bits));
        }
        default: {
            return f32(bits);
        }
    }
}

fn chroma_sample(u: Unpack, at: vec2<i32>) -> vec2<f32> {
    return vec2(
        sample_value(u, textureLoad(plane_1, at, 0).x),
        sample_value(u, textureLoad(plane_2, at, 0).x),
    );
}

fn unpack(u: Unpack, at: vec2<i32>) -> vec3<f32> {
    let first = sample_value(u, textureLoad(plane_0, at, 0).x);
    let size = vec2<i32>(textureDimensions(plane_1));
    let c = (vec2<f32>(at) - u.chroma_start) * u.chroma_scale;
    let low = floor(c);
    let t = c - low;
    var chroma = vec2(0.0);
    // A loop, since software GPUs run both sides of a branch but not the rounds of a loop that is over:
    // one sample for full-size chroma, two for half width, four for half of both.
    let columns = select(2, 1, u.chroma_scale.x == 1.0);
    let rows = select(2, 1, u.chroma_scale.y == 1.0);
    for (var row = 0; row < rows; row++) {
        let down = select(t.y, 1.0 - t.y, row == 0);
        for (var column = 0; column < columns; column++) {
            let weight = select(t.x, 1.0 - t.x, column == 0) * down;
            let place = clamp(vec2<i32>(low) + vec2(column, row), vec2(0), size - 1);
            chroma += weight * chroma_sample(u, place);
        }
    }
    let v = transform_and_add(u.matrix, vec3(first, chroma.x, chroma.y));
    return vec3(clean(v.x), clean(v.y), clean(v.z));
}
