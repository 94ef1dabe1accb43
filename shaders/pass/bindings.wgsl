// What every picture pass reads. `target_picture` is declared after it, since its format varies.

@group(0) @binding(0) var plane_0: texture_2d<u32>;
@group(0) @binding(1) var plane_1: texture_2d<u32>;
@group(0) @binding(2) var plane_2: texture_2d<u32>;
