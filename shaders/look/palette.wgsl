// Twin of src/look/palette.rs.

const PALETTE_HOLD: f32 = 0.0022831050228310505; // 0.04 stop
const PALETTE_HOLD_DENSITY: f32 = 0.0005212568545276371; // square of 0.4 stop

// At a distance from grey; its sector's movements, and how near to none grey holds them.
fn palette_blend(p: Palette, cb: f32, cr: f32, distance_: f32) -> vec4<f32> {
    let magenta = vec3(p.magenta_turn, p.magenta_gain, p.magenta_drop);
    let red = vec3(p.red_turn, p.red_gain, p.red_drop);
    let yellow = vec3(p.yellow_turn, p.yellow_gain, p.yellow_drop);
    let green = vec3(p.green_turn, p.green_gain, p.green_drop);
    let cyan = vec3(p.cyan_turn, p.cyan_gain, p.cyan_drop);
    let blue = vec3(p.blue_turn, p.blue_gain, p.blue_drop);
    let whole_m = 0.6470614201 * cr - 0.7624378785 * cb;
    let whole_r = -0.2233553611 * cr - 0.9747370839 * cb;
    let whole_y = -0.9958224133 * cr - 0.091311123 * cb;
    let upper = whole_m > 0.0;
    let side = select(-1.0, 1.0, upper);
    let m = whole_m * side;
    let r = whole_r * side;
    let y = whole_y * side;
    let first = select(green, magenta, upper);
    let second = select(cyan, red, upper);
    let third = select(blue, yellow, upper);
    let last = select(magenta, green, upper);
    let in_first = !(r > 0.0);
    let in_second = !(y > 0.0);
    let low = select(select(third, second, in_second), first, in_first);
    let high = select(select(last, third, in_second), second, in_first);
    let past = select(select(y, r, in_second), m, in_first);
    let short = select(select(m, -y, in_second), -r, in_first);
    let within = past + short + 1e-12;
    let beside = distance_ + PALETTE_HOLD;
    let unit = 1.0 / (within * beside);
    let t = past * beside * unit;
    return vec4(low + (high - low) * (t * t * (3.0 - 2.0 * t)), distance_ * within * unit);
}

fn palette(p: Palette, v: vec3<f32>) -> vec3<f32> {
    let red = v.x - v.y;
    let blue = v.z - v.y;
    let above = red * 0.2126 + blue * 0.0722;
    let cb = (blue - above) * 0.5389092476826902;
    let cr = (red - above) * 0.63500127000254;
    let squared = cb * cb + cr * cr;
    let way = palette_blend(p, cb, cr, sqrt(squared));
    let near = way.w;
    let h = way.x * near;
    // One division for this and the one that the density asks for.
    let held = squared + PALETTE_HOLD_DENSITY;
    let turned = 1.0 + h * h;
    let unit = 1.0 / (held * turned);
    let scale = (1.0 + way.y * near) * held * unit;
    let cosine = (1.0 - h * h) * scale;
    let sine = 2.0 * h * scale;
    let b = (cb * cosine - cr * sine - cb) * 1.8556;
    let r = (cb * sine + cr * cosine - cr) * 1.5748;
    let darker = way.z * squared * turned * unit;
    return v + vec3(r - darker, -(r * 0.2972595078299777 + b * 0.10095078299776288 + darker), b - darker);
}
