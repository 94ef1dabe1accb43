//! Values out: what changed, to whom it matters.

use std::net::UdpSocket;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;

use super::Common;
use super::methods::shown;
use crate::panel::osc::encode;

/// How often it is looked whether a surface has been silent for too long.
const LOOK: Duration = Duration::from_secs(1);

pub(super) fn run(common: &Common, socket: &UdpSocket, nudged: &Receiver<()>) {
    let mut wait = LOOK;
    let (mut shot, mut addresses) = (None, Vec::new());
    while !common.quits() {
        let _ = nudged.recv_timeout(wait);
        wait = LOOK;
        let now = Instant::now();
        let gone = {
            let mut surfaces = common.surfaces();
            let gone = surfaces.forget(now);
            common.remembered.store(surfaces.len(), Ordering::Relaxed);
            if surfaces.is_empty() && gone.is_empty() {
                shot = None;
                continue;
            }
            gone
        };
        if !gone.is_empty() {
            gone.into_iter().for_each(|request| common.requests.push(request));
            (common.wake)();
        }
        let snapshot = common.engine.snapshot.load_full();
        let shown = shown(&snapshot, common.layout.as_deref());
        // A stage in focus has as many parameters as it has: what another one adds is told as any value is.
        let fixed = || shown.iter().map(|s| &s.address).filter(|a| !a.starts_with("/focus/"));
        let other = shot != Some(snapshot.shot) || !fixed().eq(&addresses);
        if other {
            addresses = fixed().cloned().collect();
            // Who came since the last look knows of no other shot.
            let first = shot.replace(snapshot.shot).is_none();
            if !first {
                common.surfaces().iter_mut().for_each(|s| s.feedback.anew());
            }
        }
        let mut packets = Vec::new();
        for surface in common.surfaces().iter_mut() {
            let (tell, due) = surface.feedback.update(&shown, now);
            if let Some(due) = due {
                wait = wait.min(due.saturating_duration_since(now));
            }
            packets.extend(encode(&tell).into_iter().map(|packet| (surface.to, packet)));
        }
        for (to, packet) in packets {
            // A surface that is gone is forgotten in time.
            let _ = socket.send_to(&packet, to);
        }
    }
}
