// The head of the uniform buffer: Layout::write in src/picture/plan.rs fills it in this order. Structures
// begin at multiples of 16 bytes, as uniform buffers ask.

const GREY_ACESCCT: f32 = 0.4135884024924423;

// Twin of src/look/spot.rs.
struct Spot {
    x: u32,
    y: u32,
    frame: u32,
}

struct Head {
    @align(16) unpack: Unpack,
    @align(16) framing: Framing,
    @align(16) decode: Curve,
    @align(16) to_acescg: Matrix,
    @align(16) balance: Balance,
    @align(16) trim: Trim,
    @align(16) tone: ToneScale,
    @align(16) matrix: Matrix,
    @align(16) widening: Matrix,
    @align(16) encode: Curve,
    @align(16) code_max: f32,
    dither: f32,
    widened: f32,
}
