// Twin of src/picture/unpack.rs. Samples arrive as their bits: codes, halves or floats.

struct Unpack {
    matrix: Matrix,
    chroma_scale: vec2<f32>,
    chroma_start: vec2<f32>,
    // 0 integer codes, 1 half floats, 2 single floats.
    sample: f32,
    frame: u32,
}

// By the exponent's bits, since a compiler may assume that NaN does not occur. Without branches, of which
// software GPUs run both sides.
fn clean(v: f32) -> f32 {
    let bits = bitcast<u32>(v);
    let infinite = select(65504.0, -65504.0, (bits & 0x80000000u) != 0u);
    let odd = select(infinite, 0.0, (bits & 0x007fffffu) != 0u);
    return select(clamp(v, -65504.0, 65504.0), odd, (bits & 0x7f800000u) == 0x7f800000u);
}

// A half's bits to a float, without arithmetic on NaN or infinity.
fn clean_half(bits: u32) -> f32 {
    let infinite = select(65504.0, -65504.0, (bits & 0x8000u) != 0u);
    let odd = select(infinite, 0.0, (bits & 0x03ffu) != 0u);
    let special = (bits & 0x7c00u) == 0x7c00u;
    return select(unpack2x16float(select(bits, 0u, special)).x, odd, special);
}

fn sample_value(u: Unpack, bits: u32) -> f32 {
    let float = select(clean_half(bits), clean(bitcast<f32>(bits)), u.sample == 2.0);
    return select(float, f32(bits), u.sample == 0.0);
}

fn chroma_sample(u: Unpack, at: vec2<i32>) -> vec2<f32> {
    return vec2(
        sample_value(u, textureLoad(plane_1, at, 0).x),
        sample_value(u, textureLoad(plane_2, at, 0).x),
    );
}

// A pixel's samples, chroma between its own.
fn unpack_samples(u: Unpack, at: vec2<i32>) -> vec3<f32> {
    let first = sample_value(u, textureLoad(plane_0, at, 0).x);
    let size = vec2<i32>(textureDimensions(plane_1));
    let c = (vec2<f32>(at) - u.chroma_start) * u.chroma_scale;
    let low = floor(c);
    let t = c - low;
    var chroma = vec2(0.0);
    // One sample for full-size chroma, two for half width, four for half of both. The loops end at their foot,
    // since a software GPU runs the body of one that ends at its head once more, for nothing.
    let columns = select(2, 1, u.chroma_scale.x == 1.0);
    let rows = select(2, 1, u.chroma_scale.y == 1.0);
    var row = 0;
    loop {
        let down = select(t.y, 1.0 - t.y, row == 0);
        var column = 0;
        loop {
            let weight = select(t.x, 1.0 - t.x, column == 0) * down;
            let place = clamp(vec2<i32>(low) + vec2(column, row), vec2(0), size - 1);
            chroma += weight * chroma_sample(u, place);
            column++;
            if column >= columns {
                break;
            }
        }
        row++;
        if row >= rows {
            break;
        }
    }
    return vec3(first, chroma);
}

fn unpack_signal(u: Unpack, samples: vec3<f32>) -> vec3<f32> {
    let v = transform_and_add(u.matrix, samples);
    return vec3(clean(v.x), clean(v.y), clean(v.z));
}
