//! Trying looks and saving them.

use super::*;

#[test]
fn looks_are_tried_kept_and_left_with_the_mouse() {
    let mut desk = with_curves();
    let menu = desk.text("try a look");
    desk.click(menu);
    let name = desk.text(&shipped_looks()[3].name);
    desk.click(name);
    assert_eq!(desk.commands, [Command::TryLook(3)]);
    desk.trying = Some(Trying {
        at: 3,
        of: shipped_looks().len(),
        name: "dry frost".into(),
        note: "".into(),
        own: desk.show.clone().into(),
    });
    desk.frame(&[]);
    assert_eq!(desk.texts("trying 4 of 10: dry frost").len(), 1);
    let (keep, leave) = (desk.text("keep it"), desk.text("leave it"));
    desk.click(leave);
    desk.click(keep);
    assert_eq!(desk.commands[1..], [Command::LeaveLook, Command::KeepLook]);
    let sheet = desk.text("sheet");
    desk.click(sheet);
    assert_eq!(desk.panes.asks, [Ask::Sheet]);
}

#[test]
fn the_form_saves_what_it_says() {
    let mut desk = with_curves();
    let save = desk.text("save");
    desk.click(save);
    assert_eq!(desk.panes.asks, [Ask::SaveForm]);
    desk.panes.asks.clear();
    desk.panes.saving = Some(SaveForm::of(&desk.show));
    desk.frame(&[]);
    desk.frame(&[]);
    desk.frame(&[Event::Text("Dry frost".into())]);
    let place = desk.text("with this show");
    desk.click(place);
    let save = *desk.texts("save").last().unwrap();
    desk.click(save);
    assert_eq!(desk.panes.asks, [Ask::SaveLook]);
    let form = desk.panes.saving.clone().unwrap();
    assert_eq!((form.name.as_str(), form.in_show), ("Dry frost", true));
}
