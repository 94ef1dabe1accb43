// The tables of the output transform, for the structures that have one with tables.

@group(0) @binding(5) var tables: texture_2d<f32>;
