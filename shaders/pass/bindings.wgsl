// What every picture pass reads. `target_picture` is declared after it, since its format varies.

@group(0) @binding(0) var plane_0: texture_2d<u32>;
@group(0) @binding(1) var plane_1: texture_2d<u32>;
@group(0) @binding(2) var plane_2: texture_2d<u32>;

// The tables of the chain's LUTs, in the order light takes; binding 5 is kept for the output transform's.
@group(0) @binding(6) var lut_0: texture_3d<f32>;
@group(0) @binding(7) var lut_1: texture_3d<f32>;
@group(0) @binding(8) var lut_2: texture_3d<f32>;
@group(0) @binding(9) var lut_3: texture_3d<f32>;

// The show's own table in the output transform's place, and the one on the signal.
@group(0) @binding(10) var lut_transform: texture_3d<f32>;
@group(0) @binding(11) var lut_calibration: texture_3d<f32>;
