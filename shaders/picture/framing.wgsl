// Twin of src/picture/framing.rs.

struct Framing {
    // Positions in the frame: whole pixels, then three digits of 16 bits.
    step: vec4<i32>,
    start_x: vec4<i32>,
    start_y: vec4<i32>,
    size: vec2<i32>,
    first: i32,
    stride: i32,
    count: i32,
    rate: f32,
}

struct FramingPlace {
    pixel: i32,
    phase: f32,
    inside: i32,
}

fn framing_place(start: vec4<i32>, step: vec4<i32>, at: i32) -> FramingPlace {
    let low = start.w + at * step.w;
    let middle = start.z + at * step.z + (low >> 16u);
    let high = start.y + at * step.y + (middle >> 16u);
    let pixel = start.x + at * step.x + (high >> 16u);
    // The products are exact, so that it does not matter whether they are fused with the sum. The last digit
    // only carries.
    let phase = f32(high & 0xffff) * 1.52587890625e-5 + f32(middle & 0xffff) * 2.3283064365386963e-10;
    return FramingPlace(pixel, phase, pixel + ((high >> 15u) & 1));
}

fn framing_kernel(distance: f32) -> f32 {
    let x = min(abs(distance), 2.0);
    let rest = 2.0 - x;
    return select((0.5 - 0.5 * x) * rest * rest, (1.5 * x - 2.5) * x * x + 1.0, x < 1.0);
}

// The signal at a raster pixel, and 1, or 0 outside the frame. Where raster pixels are frame pixels, one is
// read, at weight 1. The loops end at their foot, since a software GPU runs the body of one that ends at its
// head once more, for nothing.
fn framed_signal(f: Framing, u: Unpack, at: vec2<i32>) -> vec4<f32> {
    var x = FramingPlace(at.x, 0.0, at.x);
    var y = FramingPlace(at.y, 0.0, at.y);
    if f.count > 1 {
        x = framing_place(f.start_x, f.step, at.x);
        y = framing_place(f.start_y, f.step, at.y);
    }
    let place = vec2(x.inside, y.inside);
    let inside = all(place >= vec2(0)) && all(place < f.size);
    let count = select(1, f.count, inside);
    var sum = vec4(0.0);
    var row = 0;
    loop {
        let j = f.first + row * f.stride;
        var line = vec4(0.0);
        var column = 0;
        loop {
            let i = f.first + column * f.stride;
            let weight = framing_kernel((x.phase - f32(i)) * f.rate);
            let read = clamp(vec2(x.pixel + i, y.pixel + j), vec2(0), f.size - 1);
            line += weight * vec4(unpack_samples(u, read), 1.0);
            column++;
            if column >= count {
                break;
            }
        }
        sum += framing_kernel((y.phase - f32(j)) * f.rate) * line;
        row++;
        if row >= count {
            break;
        }
    }
    // Outside, the kernel's first weight can be 0.
    let signal = unpack_signal(u, sum.xyz / select(1.0, sum.w, inside));
    return vec4(signal, select(0.0, 1.0, inside));
}
