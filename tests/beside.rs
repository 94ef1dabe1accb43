//! Pictures beside a reference: the GPU's pass is what the CPU twin says, at every angle and for both kinds of windows.

use greyhold::gpu::{Assembly, Gpu, Request};
use greyhold::picture::{Beside, Target, Way};

/// A sum that is even over 0…1; constants of Knuth's MMIX generator, from memory.
fn random(seed: &mut u64) -> f64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*seed >> 11) as f64 / (1u64 << 53) as f64
}

#[test]
fn the_shader_is_valid() {
    for target in [Target::Screen, Target::DeepScreen] {
        let assembly = Assembly::beside(target);
        let module = naga::front::wgsl::parse_str(&assembly.text)
            .unwrap_or_else(|e| panic!("{}", e.emit_to_string(&assembly.text)));
        let mut validator = naga::valid::Validator::new(
            naga::valid::ValidationFlags::all(),
            naga::valid::Capabilities::empty(),
        );
        validator.validate(&module).unwrap_or_else(|e| panic!("{e:?}"));
    }
}

#[test]
fn the_gpu_does_what_the_cpu_twin_says() {
    let gpu = Gpu::headless(Request::default()).unwrap();
    let passes = gpu.beside().unwrap();
    let mut seed = 7;
    // Odd sides too, for what stands side by side.
    for (width, height) in [(96u32, 54u32), (37, 23)] {
        let count = (width * height) as usize;
        let codes: Vec<[u16; 3]> =
            (0..count).map(|_| std::array::from_fn(|_| (random(&mut seed) * 65_536.0) as u16)).collect();
        let reference = gpu.reference((width, height), &codes).unwrap();
        for (target, depth) in [(Target::Screen, 8), (Target::DeepScreen, 8), (Target::DeepScreen, 10)] {
            let most = f64::from((1u32 << depth) - 1);
            let live: Vec<[f32; 3]> = (0..count)
                .map(|_| std::array::from_fn(|_| ((random(&mut seed) * most).round() / most) as f32))
                .collect();
            let picture = gpu.output(width, height, target).unwrap();
            // As a window's texture holds it.
            let (held, bytes): (Vec<[f32; 3]>, Vec<u8>) = match target {
                Target::Screen => {
                    let codes: Vec<[u8; 4]> = live
                        .iter()
                        .map(|p| [p[0], p[1], p[2], 1.0].map(|v| (v * 255.0).round() as u8))
                        .collect();
                    let held = codes.iter().map(|c| [c[0], c[1], c[2]].map(|v| f32::from(v) / 255.0));
                    (held.collect(), codes.concat())
                }
                _ => {
                    let halves: Vec<[half::f16; 4]> =
                        live.iter().map(|p| [p[0], p[1], p[2], 1.0].map(half::f16::from_f32)).collect();
                    let held = halves.iter().map(|h| [h[0], h[1], h[2]].map(half::f16::to_f32)).collect();
                    (held, halves.iter().flatten().flat_map(|h| h.to_le_bytes()).collect())
                }
            };
            let texel = bytes.len() as u32 / count as u32;
            gpu.queue.write_texture(
                picture.texture.as_image_copy(),
                &bytes,
                wgpu::TexelCopyBufferLayout {
                    offset: 0,
                    bytes_per_row: Some(width * texel),
                    rows_per_image: None,
                },
                picture.texture.size(),
            );
            let output = gpu.output(width, height, target).unwrap();
            let mut tried: Vec<Beside> = Vec::new();
            for angle in [0.0, 37.0, 90.0, -143.0, 180.0] {
                tried.extend([0.0, 0.31, 1.0].map(|place| Beside { angle, place, ..Beside::default() }));
            }
            tried.push(Beside { way: Way::Side, ..Beside::default() });
            tried.extend([1.0, 16.0].map(|times| Beside {
                way: Way::Difference,
                times,
                ..Beside::default()
            }));
            for beside in tried {
                let values = beside.prepared((width, height), depth, 11);
                let mut encoder = gpu.device.create_command_encoder(&Default::default());
                gpu.encode_beside(&mut encoder, passes, &picture, &reference, &values, &output);
                gpu.queue.submit([encoder.finish()]);
                let found: Vec<[f32; 3]> = match target {
                    Target::Screen => {
                        let bytes = gpu.read_screen(&output).unwrap();
                        bytes.iter().map(|b| [b[0], b[1], b[2]].map(|v| f32::from(v) / 255.0)).collect()
                    }
                    _ => gpu.read_deep_screen(&output).unwrap(),
                };
                let wanted = values.picture(&held, &codes);
                // A store rounds to a code, or to a half float.
                let off = |(f, w): (&[f32; 3], &[f32; 3])| (0..3).any(|c| (f[c] - w[c]).abs() > 0.51 / 255.0);
                let fine = |(f, w): (&[f32; 3], &[f32; 3])| (0..3).any(|c| (f[c] - w[c]).abs() > 4e-3);
                let others = found.iter().zip(&wanted).filter(|p| off(*p)).count();
                let far = found.iter().zip(&wanted).filter(|p| fine(*p)).count();
                println!("{width}×{height} {target:?} {depth} {beside:?}: {others} others");
                // On the line itself, and where rounding is on the nearer side of a code.
                assert!(
                    far * 200 < count && others * 200 < count,
                    "{beside:?} {target:?} {depth}: {others} {far}"
                );
            }
        }
    }
}
