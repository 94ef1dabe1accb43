//! Every region through the accessibility tree: what an assistive program finds by name, and what it can do there.

use egui::accesskit::Toggled;
use egui_kittest::kittest::{NodeT, Queryable};
use egui_kittest::{Harness, Node};

use super::*;
use crate::desk::finder::Finder;
use crate::desk::keys::Action;

/// A desk and all that its panes asked for.
struct Assisted {
    desk: Desk,
    asked: Vec<Input>,
}

type Tree = Harness<'static, Assisted>;

/// The panes of a desk, in a tree; unnamed widgets and letters that no font has are failures.
fn tree(desk: Desk) -> Tree {
    let mut tree = Harness::builder()
        .with_size(SIZE)
        .with_step_dt(0.02)
        .with_max_steps(12)
        .with_context_setup(look::apply)
        .build_ui_state(
            |ui, state: &mut Assisted| {
                let snapshot = state.desk.snapshot();
                let mut inputs = Vec::new();
                state.desk.panes.draw(ui, &snapshot, (0, 0), &mut inputs);
                // Pictures of shots are asked for by themselves.
                let by_hand = |i: &&Input| !matches!(i, Input::Hold { .. } | Input::Thumbnails(_));
                state.asked.extend(inputs.iter().filter(by_hand).cloned());
                inputs.retain(|i| matches!(i, Input::Change { .. } | Input::Set { .. } | Input::Turn { .. }));
                state.desk.take(inputs);
            },
            Assisted { desk, asked: Vec::new() },
        );
    tree.run_steps(3);
    tree.check_accessibility();
    tree
}

fn asked(tree: &mut Tree) -> Vec<Input> {
    tree.run_steps(3);
    tree.check_accessibility();
    let mut asked = std::mem::take(&mut tree.state_mut().asked);
    // What the panes ask for by being seen.
    asked.retain(|input| !matches!(input, Input::Thumbnails(_)));
    asked
}

fn with_shots() -> Desk {
    let mut desk = with_curves();
    for name in ["platform", "corridor"] {
        desk.show.shots.push(Shot::new(name, "a.mov", 0..24, encoding("logc4").unwrap()));
    }
    desk
}

fn role(node: &Node<'_>) -> egui::Role {
    node.accesskit_node().role()
}

/// A slider is found by its label, says its value with the unit, its range and step, and is set; each way is told to the engine.
#[test]
fn exposure_is_found_by_its_name_and_set() {
    let mut tree = tree(with_shots());
    let slider = tree.get_by_label("exposure");
    assert_eq!(role(&slider), egui::Role::Slider);
    assert_eq!(slider.value().as_deref(), Some("0.00 stops"));
    let node = slider.accesskit_node();
    let parameter = crate::picture::BalanceField::Exposure.parameter();
    let range = [node.min_numeric_value(), node.max_numeric_value(), node.numeric_value_step()];
    assert_eq!(range, [parameter.min, parameter.max, parameter.step].map(Some));
    slider.set_value_accesskit(0.5);
    let set = asked(&mut tree);
    let exposure: Arc<str> = "balance/exposure".into();
    assert!(matches!(&set[..], [Input::Set { target, value: 0.5 }] if *target == exposure), "{set:?}");
    assert_eq!(tree.get_by_label("exposure").value().as_deref(), Some("+0.50 stops"));
    tree.get_by_label("exposure").increment_accesskit();
    let turned = asked(&mut tree);
    assert!(
        matches!(&turned[..], [Input::Turn { target, detents: 1.0, control: KEYBOARD }] if *target == exposure),
        "{turned:?}"
    );
    tree.get_by_label("exposure").set_text_value_accesskit("1/2 stop");
    assert!(matches!(&asked(&mut tree)[..], [Input::Set { value: 0.5, .. }]));
    // What is no value of it changes nothing.
    tree.get_by_label("exposure").set_text_value_accesskit("much");
    assert!(asked(&mut tree).is_empty());
}

/// Arrows turn a row that has the keyboard; digits and Enter type its value; what is wrong stays, with what is accepted.
#[test]
fn a_row_is_worked_with_the_keyboard_alone() {
    use egui::Key;
    let mut tree = tree(with_shots());
    tree.get_by_label("exposure").focus();
    asked(&mut tree);
    assert_eq!(&*tree.state().desk.panes.in_hand, "balance/exposure");
    let exposure = |tree: &Tree| tree.state().desk.show.shots[0].balance.values[0];
    tree.key_press(Key::ArrowUp);
    tree.key_press_modifiers(Modifiers::SHIFT, Key::ArrowUp);
    tree.key_press(Key::ArrowLeft);
    asked(&mut tree);
    assert!((exposure(&tree) - 0.5).abs() < 1e-9, "{}", exposure(&tree));
    assert!(tree.get_by_label("exposure").is_focused(), "arrows leave the keyboard where it is");
    tree.key_press(Key::Enter);
    asked(&mut tree);
    let field = tree.get_by_label("value of exposure");
    assert!(field.is_focused() && field.value().as_deref() == Some("+0.50 stops"), "{field:?}");
    tree.event(Event::Text("loud".into()));
    tree.key_press(Key::Enter);
    assert!(asked(&mut tree).is_empty());
    assert!(tree.query_by_label_contains("“loud” is no number; accepted: -").is_some());
    assert!((exposure(&tree) - 0.5).abs() < 1e-9);
    tree.key_press_modifiers(Modifiers::COMMAND, Key::A);
    tree.event(Event::Text("1 1/3 stops".into()));
    tree.key_press(Key::Enter);
    asked(&mut tree);
    assert!((exposure(&tree) - 4.0 / 3.0).abs() < 1e-12);
    assert_eq!(
        tree.state().desk.history.undoable(),
        2,
        "the keys were one gesture, the value a step of its own"
    );
    assert!(tree.query_by_label("value of exposure").is_none());
    assert!(tree.get_by_label("exposure").is_focused());
    // A digit begins a value; Esc leaves it.
    tree.event(Event::Text("7".into()));
    asked(&mut tree);
    assert_eq!(tree.get_by_label("value of exposure").value().as_deref(), Some("7"));
    tree.key_press(Key::Escape);
    assert!(asked(&mut tree).is_empty() && tree.query_by_label("value of exposure").is_none());
}

/// Tab begins at the row in hand and goes through all rows of the light path, in their order, and each comes into hand.
#[test]
fn tab_goes_through_all_rows() {
    let mut desk = with_shots();
    // A graph has no rows.
    desk.show.chain.look = vec![Stage::new(stage("contrast").unwrap())];
    desk.panes.open.insert("look/1".into());
    let mut tree = tree(desk);
    let rows = tree.state().desk.panes.addresses.clone();
    let mut rows: Vec<_> = rows.into_iter().filter(|a| !a.ends_with("/display")).collect();
    let in_hand = rows.iter().position(|a| **a == *"balance/exposure").unwrap();
    rows.rotate_left(in_hand);
    let mut reached: Vec<Arc<str>> = Vec::new();
    for _ in 0..200 {
        tree.key_press(egui::Key::Tab);
        tree.run_steps(2);
        let focused = tree.ctx.memory(|m| m.focused());
        if let Some(row) = rows.iter().find(|a| Some(row_id(a)) == focused) {
            if reached.contains(row) {
                break;
            }
            assert_eq!(tree.state().desk.panes.in_hand, *row);
            reached.push(row.clone());
        }
    }
    assert_eq!(reached, rows);
}

#[test]
fn shots_are_a_list_of_buttons() {
    let mut tree = tree(with_shots());
    assert_eq!(tree.get_by_label("platform").accesskit_node().toggled(), Some(Toggled::True));
    tree.get_by_label("corridor").click_accesskit();
    assert!(matches!(asked(&mut tree)[..], [Input::Command(Command::Shot(1))]));
}

#[test]
fn the_transport_plays_and_seeks() {
    let mut tree = tree(with_shots());
    tree.get_by_label("play").click_accesskit();
    assert!(matches!(asked(&mut tree)[..], [Input::Command(Command::TogglePlay)]));
    tree.get_by_label("frame").set_value_accesskit(12.0);
    assert!(matches!(asked(&mut tree)[..], [Input::Command(Command::Seek(12))]));
    tree.get_by_label("round: shot").click_accesskit();
    assert!(matches!(asked(&mut tree)[..], [Input::Command(Command::OtherScope)]));
}

#[test]
fn scopes_have_names() {
    let mut tree = tree(with_shots());
    tree.state_mut().desk.panes.scopes.shown = true;
    assert!(matches!(asked(&mut tree)[..], [Input::Scopes(Some(_))]));
    for name in ["waveform", "vectorscope", "histogram"] {
        assert_eq!(role(&tree.get_by_label(name)), egui::Role::Image);
    }
    tree.get_by_label("red green blue").click_accesskit();
    asked(&mut tree);
    assert_eq!(tree.get_by_label("red green blue").accesskit_node().toggled(), Some(Toggled::True));
}

/// Boxes of the drawn panel say what they move and where that stands; keys turn them and press the buttons.
#[test]
fn the_panel_mirror_is_worked_with_keys() {
    let (desk, _) = mirror::with_panel(mirror::KNOBS);
    let mut tree = tree(desk);
    let encoder = tree.get_by_label("Encoder: balance exposure");
    assert_eq!(encoder.value().as_deref(), Some("0.00 stops"));
    encoder.focus();
    asked(&mut tree);
    tree.key_press(egui::Key::ArrowUp);
    let acts = asked(&mut tree);
    assert!(matches!(acts[..], [Input::Panel(Act::Turn { control: 0, by })] if by == 1.0), "{acts:?}");
    tree.get_by_label("Go: play").click_accesskit();
    let acts = asked(&mut tree);
    assert!(
        matches!(
            acts[..],
            [
                Input::Panel(Act::Button { button: 0, down: true }),
                Input::Panel(Act::Button { button: 0, down: false })
            ]
        ),
        "{acts:?}"
    );
}

#[test]
fn stages_have_switches_of_their_own() {
    let mut tree = tree(with_shots());
    tree.get_by_label("curves acts").click_accesskit();
    let off = asked(&mut tree);
    assert!(
        matches!(off[..], [Input::Change { change: Change::SetStageOn { at: 0, on: false, .. }, .. }]),
        "{off:?}"
    );
    tree.get_by_label("take out: curves").click_accesskit();
    assert!(matches!(asked(&mut tree)[..], [Input::Change { change: Change::RemoveStage { .. }, .. }]));
}

#[test]
fn looks_are_tried_and_the_sheet_asked_for() {
    let mut tree = tree(with_shots());
    tree.get_by_label("try a look").click_accesskit();
    asked(&mut tree);
    let second = shipped_looks()[1].name.clone();
    tree.get_by_label(&second).click_accesskit();
    assert!(matches!(asked(&mut tree)[..], [Input::Command(Command::TryLook(1))]));
    tree.get_by_label("sheet").click_accesskit();
    asked(&mut tree);
    assert_eq!(tree.state().desk.panes.asks, [Ask::Sheet]);
}

#[test]
fn the_form_has_named_fields() {
    let mut desk = with_shots();
    desk.panes.saving = Some(SaveForm::of(&desk.show));
    let mut tree = tree(desk);
    tree.get_by_role_and_label(egui::Role::TextInput, "name").type_text("Dry frost");
    asked(&mut tree);
    assert_eq!(tree.state().desk.panes.saving.as_ref().unwrap().name, "Dry frost");
    assert!(tree.query_by_role_and_label(egui::Role::TextInput, "note").is_some());
}

/// The list finds by words in any order, sets a parameter to what is typed after it, and does what is chosen.
#[test]
fn the_list_finds_sets_and_does() {
    use egui::Key;
    let open = |tree: &mut Tree, text: &str| {
        tree.state_mut().desk.panes.finder = Some(Finder::default());
        asked(tree);
        assert!(tree.get_by_label("find").is_focused());
        tree.event(Event::Text(text.into()));
        asked(tree);
    };
    let mut tree = tree(with_shots());
    open(&mut tree, "exposure 1/2 stop");
    assert!(tree.query_by_label("exposure, 0.00 stops → +0.50 stops").is_some());
    tree.key_press(Key::Enter);
    let set = asked(&mut tree);
    assert!(
        matches!(&set[..], [Input::Set { target, value: 0.5 }] if &**target == "balance/exposure"),
        "{set:?}"
    );
    assert!(tree.state().desk.panes.finder.is_none(), "it closes");
    assert_eq!(tree.state().desk.history.undoable(), 1);
    assert_eq!(&*tree.state().desk.panes.in_hand, "balance/exposure");

    // In any order, by the line about it.
    open(&mut tree, "back step last take");
    tree.key_press(Key::Enter);
    let done = asked(&mut tree);
    assert!(matches!(&done[0], Input::Press { action, down: true } if &**action == "undo"), "{done:?}");
    assert!(matches!(&done[1..], [Input::Press { down: false, .. }]), "{done:?}");

    // By the address; chosen without a value, it is asked for one.
    open(&mut tree, "balance/saturation");
    tree.key_press(Key::Enter);
    asked(&mut tree);
    tree.event(Event::Text("a lot".into()));
    tree.key_press(Key::Enter);
    assert!(asked(&mut tree).is_empty());
    assert!(tree.query_by_label_contains("“a lot” is no number; accepted").is_some());
    tree.key_press_modifiers(Modifiers::COMMAND, Key::A);
    tree.event(Event::Text("90 %".into()));
    tree.key_press(Key::Enter);
    let set = asked(&mut tree);
    assert!(matches!(&set[..], [Input::Set { value: 0.9, .. }]), "{set:?}");

    // The desk's own, and with the arrows; Esc leaves.
    open(&mut tree, "scopes");
    tree.key_press(Key::Enter);
    asked(&mut tree);
    assert_eq!(std::mem::take(&mut tree.state_mut().desk.panes.wants), [Action::Scopes]);
    open(&mut tree, "go to shot");
    tree.key_press(Key::ArrowDown);
    tree.key_press(Key::Enter);
    assert!(matches!(asked(&mut tree)[..], [Input::Command(Command::Shot(1))]));
    // A button is learned for an action, a control for a parameter.
    for (words, wanted) in [("take step back", "undo"), ("balance/contrast", "balance/contrast")] {
        open(&mut tree, words);
        tree.key_press_modifiers(Modifiers::COMMAND, Key::M);
        let asked = asked(&mut tree);
        assert!(
            matches!(&asked[..], [Input::Learn { target: Some(target) }] if &**target == wanted),
            "{asked:?}"
        );
    }
    open(&mut tree, "no such thing");
    assert!(tree.query_by_label("nothing is called so").is_some());
    tree.key_press(Key::Escape);
    assert!(asked(&mut tree).is_empty() && tree.state().desk.panes.finder.is_none());
}

#[test]
fn the_keys_are_shown_with_what_the_panel_does() {
    let (mut desk, _) = mirror::with_panel(mirror::KNOBS);
    desk.panes.overlay.press();
    let mut tree = tree(desk);
    asked(&mut tree);
    for text in ["Playback", "Windows and help", "knobs, sky: controls", "balance exposure: 0.00 stops"] {
        assert!(tree.query_by_label(text).is_some(), "{text}");
    }
}
