//! Demo: the invented show that the program draws for itself, a winter day on a mountain railway.
//!
//! Each scene is drawn in scene-linear light with a photograph's range and a camera's noise, so that there
//! is something to grade without any footage. What stands still is seen once ([`Scene::prepare`]); what
//! moves is added for each frame ([`Prepared::frame`]). The same frame is the same numbers, whatever the
//! order frames are asked for in.

mod blue_hour;
mod camera;
mod chart;
mod coach;
mod corridor;
mod field;
mod figure;
mod fir;
mod flakes;
mod light;
mod moving;
mod noise;
mod overcast;
mod platform;
mod snow;
mod terrain;
mod vapour;
mod vector;
mod workshop;

use blue_hour::BlueHour;
use camera::{Plate, Raster, Sensor};
use corridor::Corridor;
use overcast::Overcast;
use platform::Platform;
use workshop::Workshop;

use crate::colour;

/// Frames a second that the scenes move at.
pub const RATE: u32 = 24;

/// One scene of the show.
#[derive(Debug)]
pub struct Scene {
    /// What files and commands call it.
    pub name: &'static str,
    /// What is to be seen, in a line.
    pub doc: &'static str,
    /// The encoding its camera records in (an id of [`colour::ENCODINGS`]).
    pub encoding: &'static str,
    /// Frames there are.
    pub frames: u32,
    set: fn() -> Set,
}

/// The scenes, in the show's order.
pub static SCENES: &[Scene] = &[
    Scene {
        name: "platform",
        doc: "morning sun on a snowed-in platform, two thirds of a stop over, with a grey card and a colour chart",
        encoding: "logc4",
        frames: 48,
        set: || Set::Platform(Platform::new()),
    },
    Scene {
        name: "overcast-line",
        doc: "a train comes up the line through falling snow under cloud: flat grey light, exposed to the card",
        encoding: "logc4",
        frames: 48,
        set: || Set::Overcast(Overcast::new()),
    },
    Scene {
        name: "workshop",
        doc: "a mechanic at a bench in the engine shed: tungsten light of 2900 K, the camera balanced to daylight",
        encoding: "logc4",
        frames: 48,
        set: || Set::Workshop(Workshop::new()),
    },
    Scene {
        name: "corridor",
        doc: "someone comes through a tiled underpass: LED tubes with a green spike, one of them failing",
        encoding: "v-log",
        frames: 48,
        set: || Set::Corridor(Corridor::new()),
    },
    Scene {
        name: "blue-hour",
        doc: "a train with lit windows after sunset: lamps seven stops over grey, shadows five and more under",
        encoding: "v-log",
        frames: 48,
        set: || Set::BlueHour(BlueHour::new()),
    },
];

/// The scene called `name`.
pub fn scene(name: &str) -> Option<&'static Scene> {
    SCENES.iter().find(|s| s.name == name)
}

enum Set {
    Platform(Platform),
    Overcast(Overcast),
    Workshop(Workshop),
    Corridor(Corridor),
    BlueHour(BlueHour),
}

/// Something of known reflectance in the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// Its name on the chart, or `grey card`, `drawing paper`, `white tile`.
    pub name: &'static str,
    /// Reflectance in ACEScg, as under a light that makes a perfect diffuser 1, 1, 1.
    pub reflectance: [f32; 3],
    /// Its middle in the picture, in pixels from the upper left corner.
    pub centre: [f32; 2],
    /// Half the side of a square about the middle that it certainly fills, in pixels.
    pub reach: f32,
}

/// A scene whose standing parts have been drawn at one size.
pub struct Prepared {
    scene: &'static Scene,
    set: Set,
    plate: Plate,
    /// What the lens's glare leaves of a light that is drawn for each frame.
    kept: f32,
}

impl Scene {
    /// Draws what stands still in the scene, at `width` × `height` pixels (16:9 is what it is composed for).
    /// At 960 × 540 this takes seconds; each frame after it a fraction of one.
    pub fn prepare(&'static self, width: u32, height: u32) -> Prepared {
        let set = (self.set)();
        let raster = Raster { width, height };
        let (plate, kept) = match &set {
            Set::Platform(p) => (p.plate(raster), 1.0),
            Set::Overcast(o) => (o.plate(raster), 1.0),
            Set::Workshop(o) => (o.plate(raster), 1.0),
            Set::Corridor(o) => (o.plate(raster), 1.0),
            Set::BlueHour(b) => b.plate(raster),
        };
        Prepared { scene: self, set, plate, kept }
    }

    /// One frame, 0…`frames` − 1, as scene-linear ACEScg (0.18 = a grey card in correct exposure), row by
    /// row. Whoever wants more than one frame asks [`Scene::prepare`].
    pub fn draw(&'static self, frame: u32, width: u32, height: u32) -> Vec<[f32; 3]> {
        self.prepare(width, height).frame(frame)
    }
}

impl Prepared {
    /// One frame, as [`Scene::draw`] gives it.
    pub fn frame(&self, frame: u32) -> Vec<[f32; 3]> {
        let time = frame as f32 / RATE as f32;
        let (light, sensor) = match &self.set {
            Set::Platform(p) => (p.picture(&self.plate, time), platform::SENSOR),
            Set::Overcast(o) => (o.picture(&self.plate, time), overcast::SENSOR),
            Set::Workshop(o) => (o.picture(&self.plate, time), workshop::SENSOR),
            Set::Corridor(o) => (o.picture(&self.plate, time), corridor::SENSOR),
            Set::BlueHour(b) => (b.picture(&self.plate, self.kept, time), blue_hour::SENSOR),
        };
        self.record(&light, sensor, frame)
    }

    fn record(&self, light: &[vector::V3], sensor: Sensor, frame: u32) -> Vec<[f32; 3]> {
        let encoding =
            colour::encoding(self.scene.encoding).expect("every scene names an encoding of colour/");
        sensor.record(encoding, light, self.plate.raster.width as usize, frame, self.scene.frames)
    }

    /// What is of known reflectance in the picture: the chart's patches and the grey card, a sheet of
    /// paper, a tile, or nothing.
    pub fn targets(&self) -> Vec<Target> {
        match &self.set {
            Set::Platform(p) => p.targets(self.plate.raster),
            Set::Workshop(o) => o.targets(self.plate.raster),
            Set::Corridor(o) => o.targets(self.plate.raster),
            Set::Overcast(_) | Set::BlueHour(_) => Vec::new(),
        }
    }
}
