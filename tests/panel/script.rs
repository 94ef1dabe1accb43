//! Scripts: bytes in, moves out, line by line.

use greyhold::panel::{Map, Move, Surface, events};
use std::{collections::BTreeMap, sync::Arc};

pub fn any(_: &str) -> Result<(), String> {
    Ok(())
}

pub fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace().map(|b| u8::from_str_radix(b, 16).unwrap()).collect()
}

/// Plays a script through a surface and compares the moves. A line is one of
/// `BYTES => MOVES` (moves as `address+DETENTS`, `address-DETENTS`, `address+AMOUNTu` in the parameter's unit,
/// `address=STEP` of 127, `address⟲` for its default, `HAND✋` and `HAND✋↑` for a hand that comes and goes, `ACTION↓`,
/// `ACTION↑`, or `-`; fine controls' steps are written `address=STEP/16383`),
/// `TIME BYTES => MOVES` with the time as `@MICROSECONDS`, `settle MICROSECONDS => MOVES`, `release => MOVES`,
/// `set ADDRESS STEP` (somebody else moves the parameter, in parts of 127), `gone ADDRESS`, `reset`.
/// A parameter's own step and its unit are a hundredth of its range, its default the middle of it.
pub fn play(map: &str, script: &str) {
    let map = Map::parse(map, "test.toml", &any, &any).unwrap();
    let fine = map.controls.iter().any(|c| c.fine);
    let mut surface = Surface::new(Arc::new(map));
    let mut positions = BTreeMap::<String, f64>::new();
    for (number, line) in script.lines().enumerate() {
        let words: Vec<&str> = line.split("//").next().unwrap().split_whitespace().collect();
        match words[..] {
            [] => {}
            ["reset"] => surface.reset(),
            ["gone", address] => drop(positions.remove(address)),
            ["set", address, step] => {
                positions.insert(address.to_owned(), step.parse::<f64>().unwrap() / 127.0);
            }
            _ => {
                let (packet, expected) =
                    line.split("//").next().unwrap().split_once("=>").expect("a => in the line");
                let mut moves = Vec::new();
                let mut carry_out = |positions: &mut BTreeMap<String, f64>, all: Vec<Move>| {
                    for one in all {
                        moves.push(match one {
                            Move::Turn { target, detents, .. } => {
                                *positions.get_mut(&*target).unwrap() += detents * 0.01;
                                format!("{target}{detents:+}")
                            }
                            Move::Add { target, amount, .. } => {
                                *positions.get_mut(&*target).unwrap() += amount * 0.01;
                                format!("{target}{amount:+}u")
                            }
                            Move::Set { target, position, .. } => {
                                // As the engine does: kept in an f32.
                                positions.insert(target.to_string(), f64::from(position as f32));
                                match fine {
                                    true => format!("{target}={}/16383", position * 16383.0),
                                    false => format!("{target}={}", position * 127.0),
                                }
                            }
                            Move::Reset { target } => {
                                positions.insert(target.to_string(), 0.5);
                                format!("{target}⟲")
                            }
                            Move::Hold { hand, down: true } => format!("{hand}✋"),
                            Move::Hold { hand, down: false } => format!("{hand}✋↑"),
                            Move::Press { action, down: true } => format!("{action}↓"),
                            Move::Press { action, down: false } => format!("{action}↑"),
                        });
                    }
                };
                let packet = packet.trim();
                if packet == "release" {
                    carry_out(&mut positions, surface.release());
                } else if let Some(at) = packet.strip_prefix("settle ") {
                    let at = at.trim().parse().unwrap();
                    let all = surface.settle(at, &|a| positions.get(a).copied());
                    carry_out(&mut positions, all);
                    surface.arrived(&|a| positions.get(a).copied());
                } else {
                    let (at, packet) = match packet.strip_prefix('@') {
                        Some(timed) => timed.split_once(' ').unwrap(),
                        None => ("0", packet),
                    };
                    let at = at.parse().unwrap();
                    events(0, &bytes(packet), |event| {
                        let all = surface.feed(at, &event, &|a| positions.get(a).copied());
                        carry_out(&mut positions, all);
                        surface.arrived(&|a| positions.get(a).copied());
                    });
                }
                let moves = if moves.is_empty() { "-".to_owned() } else { moves.join(" ") };
                assert_eq!(moves, expected.trim(), "line {}: {}", number + 1, line.trim());
            }
        }
    }
}
