// The storage buffer's head: Layout::write in src/picture/plan.rs fills it in this order.

const GREY_ACESCCT: f32 = 0.4135884024924423;

struct Head {
    unpack: Unpack,
    frame: u32,
    decode: Curve,
    to_acescg: array<f32, 9>,
    balance: Balance,
    tone: ToneScale,
    matrix: array<f32, 9>,
    encode: Curve,
    code_max: f32,
    dither: f32,
    spare: f32,
}
