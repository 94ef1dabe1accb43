//! The drawn panel under the mouse, and learning.

use super::*;

/// The panel mirror shows buttons too, with what they do, and lights those that are down.
#[test]
fn the_mirror_has_buttons() {
    let mut desk = with_curves();
    assert!(desk.texts("previous shot").is_empty());
    let (file, text) = SHIPPED.iter().find(|(file, _)| *file == "three-balls.toml").unwrap();
    let map = Map::parse(text, file, &engine::known_target, &engine::known_action).unwrap();
    let mut surface = Surface::new(Arc::new(map));
    let boxes = |desk: &Desk, at: Pos2| -> Vec<egui::Color32> {
        let hit = |s: &Shape| match s {
            Shape::Rect(r) if r.rect.contains(at) && r.fill.a() > 0 => Some(r.fill),
            _ => None,
        };
        desk.shapes.iter().filter_map(hit).collect()
    };
    let show = |desk: &mut Desk, surface: &Surface| {
        desk.panel.buttons = surface.buttons();
        desk.frame(&[]);
        desk.frame(&[]);
    };
    show(&mut desk, &surface);
    let names = ["play", "step back", "step forward", "previous shot", "next shot", "first frame", "round"];
    for name in names.iter().chain(&["before", "undo", "redo"]) {
        // The list ahead of the look is called "before" too.
        assert!(!desk.texts(name).is_empty(), "{name}");
    }
    let undo = desk.text("undo");
    assert_eq!(boxes(&desk, undo), [look::BAR]);
    surface.feed(0, &read(0, &[0x90, 44, 100]).unwrap(), &|_| None);
    show(&mut desk, &surface);
    assert_eq!((boxes(&desk, undo), boxes(&desk, desk.text("redo"))), (vec![look::FILL], vec![look::BAR]));
}

/// A desk with a panel that is drawn, as the engine would have it; and that.
pub(super) fn with_panel(text: &str) -> (Desk, Surface) {
    let map = Map::parse(text, "t.toml", &engine::known_target, &engine::known_action).unwrap();
    let surface = Surface::new(Arc::new(map));
    let mut show = with_curves().show;
    show.shots.push(Shot::new("a", "a.mov", 0..1, encoding("logc4").unwrap()));
    let mut desk = Desk::new(show);
    draw(&mut desk, &surface);
    (desk, surface)
}

fn draw(desk: &mut Desk, surface: &Surface) {
    let mut controls = surface.describe();
    controls.iter_mut().for_each(|c| c.stands = Mimic::default().stands(surface.map(), c.index));
    desk.panel = PanelState {
        map: surface.map().name.clone(),
        drawn: true,
        controls,
        banks: surface.banks(),
        buttons: surface.buttons(),
        standing: surface.standing(),
        ..PanelState::default()
    };
    desk.frame(&[]);
    desk.frame(&[]);
}

pub(super) const KNOBS: &str = r#"
    name = "knobs"
    port = ""
    [[control]]
    label = "Encoder"
    cc = 20
    coding = "twos-complement"
    touch = 90
    target = "balance/exposure"
    [[control]]
    label = "Knob"
    cc = 21
    coding = "absolute"
    target = "focus/strength"
    [[ball]]
    label = "Picture"
    cc = [23, 24]
    coding = "twos-complement"
    colour = ["balance/offset-r", "balance/offset-g", "balance/offset-b"]
    [[button]]
    label = "Go"
    note = 36
    action = "play"
    [[button]]
    label = "Finely"
    note = 37
    action = "fine"
    [[bank]]
    name = "sky"
    [[bank]]
    name = "ground"
"#;

fn turned(acts: &[Act], wanted: usize) -> f64 {
    let by = acts.iter().map(|act| match act {
        Act::Turn { control, by } if *control == wanted => *by,
        _ => 0.0,
    });
    by.sum()
}

/// The mouse on the drawn panel does what a hand does: it turns, holds, rolls and presses, and chooses banks.
#[test]
fn the_mouse_plays_the_drawn_panel() {
    let (mut desk, mut surface) = with_panel(KNOBS);
    let (at, knob) = (desk.text("Encoder"), desk.text("Knob"));
    // Forty points are ten detents, and with a hand on it from the first to the last.
    desk.drag(at, at + Vec2::new(40.0, 90.0), Duration::ZERO);
    let acts = std::mem::take(&mut desk.acts);
    assert_eq!(acts[0], Act::Touch { control: 0, down: true });
    assert_eq!(*acts.last().unwrap(), Act::Touch { control: 0, down: false });
    assert!((turned(&acts, 0) - 10.0).abs() < 1e-6, "{acts:?}");
    // It is in hand: the keys turn it, and the light path shows what it moves.
    assert_eq!((desk.panes.hands.taken, &*desk.panes.in_hand), (Some(0), "balance/exposure"));
    // A knob's mark goes with the mouse: its box is its whole way, 127 steps. The wheel turns it too.
    let mark = |desk: &Desk| -> Vec<f32> {
        let line = |s: &Shape| match s {
            Shape::LineSegment { points, .. } if points[0].y < knob.y - 5.0 && points[0].x == points[1].x => {
                Some(points[0].x)
            }
            _ => None,
        };
        desk.shapes.iter().filter_map(line).filter(|x| (*x - knob.x).abs() < 170.0).collect()
    };
    assert!(!mark(&desk).is_empty(), "where the knob stands");
    desk.drag(knob, knob + Vec2::new(17.0, 0.0), Duration::ZERO);
    let acts = std::mem::take(&mut desk.acts);
    assert!((turned(&acts, 1) - 127.0 * 17.0 / 170.0).abs() < 0.1, "{acts:?}");
    assert_eq!(&*desk.panes.in_hand, "look/1/strength", "the stage in focus is the look's first");
    desk.move_to(knob);
    desk.frame(&[Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        delta: Vec2::new(0.0, 80.0),
        modifiers: Modifiers::NONE,
        phase: egui::TouchPhase::Move,
        source: egui::MouseWheelSource::Wheel,
    }]);
    (0..40).for_each(|_| desk.frame(&[]));
    let acts = std::mem::take(&mut desk.acts);
    assert!((turned(&acts, 1) - 2.0).abs() < 0.05 && turned(&acts, 0) == 0.0, "{acts:?}");
    // A ball has a pad: to the right and away.
    let ball = desk.text("Picture");
    desk.drag(ball, ball + Vec2::new(8.0, -12.0), Duration::ZERO);
    let acts = std::mem::take(&mut desk.acts);
    assert!((turned(&acts, 2) - 2.0).abs() < 1e-6 && (turned(&acts, 3) - 3.0).abs() < 1e-6, "{acts:?}");
    // A button is down as long as the mouse's, wherever that is let go.
    let go = desk.text("Go");
    desk.move_to(go);
    desk.button(go, true);
    desk.move_to(go + Vec2::new(0.0, -300.0));
    assert_eq!(desk.acts, [Act::Button { button: 0, down: true }]);
    desk.button(go + Vec2::new(0.0, -300.0), false);
    desk.frame(&[]);
    assert_eq!(desk.acts[1..], [Act::Button { button: 0, down: false }]);
    // A click that is over within one frame is a press all the same.
    desk.acts.clear();
    let click = |pressed| Event::PointerButton {
        pos: go,
        button: PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    desk.at += Duration::from_secs(2);
    desk.move_to(go);
    desk.frame(&[click(true), click(false)]);
    desk.frame(&[]);
    assert_eq!(desk.acts, [true, false].map(|down| Act::Button { button: 0, down }));
    // What is held while something else is turned stays down until the next click.
    desk.acts.clear();
    let finely = desk.text("Finely");
    desk.click(finely);
    assert_eq!(desk.acts, [Act::Button { button: 1, down: true }]);
    surface.feed(0, &read(0, &[0x90, 37, 127]).unwrap(), &|_| None);
    draw(&mut desk, &surface);
    desk.click(finely);
    assert_eq!(desk.acts[1..], [Act::Button { button: 1, down: false }]);
    let ground = desk.text("ground");
    desk.click(ground);
    assert_eq!(desk.acts[2..], [Act::Bank(1)]);
    // Picked up or not is said beside the value.
    assert!(desk.shapes.iter().any(|s| matches!(s, Shape::Text(t) if t.galley.text().ends_with("  ○"))));
    assert_eq!(desk.history.undoable(), 0, "the engine does all that");
}

#[test]
fn a_control_is_learned_with_the_mouse() {
    let (mut desk, _) = with_panel(KNOBS);
    desk.panes.in_hand = "balance/contrast".into();
    desk.frame(&[]);
    let learn = desk.text("learn");
    desk.click(learn);
    assert_eq!(desk.learn, [Some("balance/contrast".into())]);
    let guess =
        |need| Guess { kind: Kind::Absolute { cc: 70 }, channel: 2, certainty: 0.97, need, touch: None };
    let mut learning = Learning { target: "balance/contrast".into(), ..Learning::default() };
    let mut say = |desk: &mut Desk, guess, conflict: Option<(String, String)>| {
        learning.port = Some("Box".to_owned());
        (learning.guess, learning.conflict) = (guess, conflict);
        desk.panel.learning = Some(learning.clone());
        desk.frame(&[]);
        desk.frame(&[]);
    };
    say(&mut desk, None, None);
    assert!(desk.texts("learn").is_empty() && desk.texts("keep it").is_empty());
    desk.text("learning balance/contrast:");
    say(&mut desk, Some(guess(Some(Need::Further))), None);
    desk.text(&format!("Box: {} (so far {})", Need::Further, Kind::Absolute { cc: 70 }));
    assert!(desk.texts("keep it").is_empty(), "not before it is sure");
    // What the map has is shown, and cannot be overwritten.
    say(&mut desk, Some(guess(None)), Some(("Knob".to_owned(), "moves focus/strength".to_owned())));
    let said = |s: &Shape| matches!(s, Shape::Text(t) if t.galley.text().contains("“Knob”, which moves focus/strength"));
    assert!(desk.shapes.iter().any(said) && desk.texts("keep it").is_empty());
    say(&mut desk, Some(guess(None)), None);
    desk.text(&format!("Box: {}, channel 3, 97 % sure", Kind::Absolute { cc: 70 }));
    let (keep, leave) = (desk.text("keep it"), desk.text("leave it"));
    desk.click(keep);
    assert_eq!(desk.panes.asks, [Ask::KeepControl]);
    desk.click(leave);
    assert_eq!(desk.learn[1..], [None]);
}
