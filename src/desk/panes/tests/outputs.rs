//! Outputs at the end of the light path.

use super::*;

/// At the end of the light path: each output's display by its menu, the show's own among them; its trim by rows; its
/// calibration, which can be taken out; and what its window does.
#[test]
fn outputs_have_their_own_lines() {
    use crate::look::NamedLut;
    use crate::picture::TrimField;
    use crate::show::{Output, read_displays};
    let mut show = with_curves().show;
    let text = "version = 1\n[display.suite]\nname = \"Suite 2\"\npeak = 300\nprimaries = \"bt2020\"\nlimit = \"p3-d65\"\ntransfer = \"pq\"\n";
    show.displays = read_displays(text, std::path::Path::new("d.toml")).unwrap();
    show.outputs.files.calibration = Some(NamedLut::new("monitor.cube", Arc::default()));
    let mut desk = Desk::new(show);
    assert!(desk.texts("its window: 8 bit, not colour-managed").is_empty(), "there is none");
    desk.panes.windows =
        [Some("8 bit, not colour-managed".into()), Some("10 bit, shown as BT.2100 PQ".into())];
    desk.frame(&[]);
    desk.text("its window: 8 bit, not colour-managed");
    desk.text("its window: 10 bit, shown as BT.2100 PQ");
    let addresses: Vec<_> =
        desk.panes.addresses.iter().filter(|a| a.starts_with("output/")).cloned().collect();
    let expected = ["output/desk/display", "output/client/display", "output/files/display"];
    assert_eq!(addresses.iter().map(|a| &**a).collect::<Vec<_>>(), expected);
    // The keys take it in hand as they do a parameter.
    desk.panes.in_hand = "output/desk/display".into();
    desk.panes.pick(1);
    assert_eq!(&*desk.panes.in_hand, "output/client/display");
    desk.click(desk.text("desk"));
    assert_eq!(&*desk.panes.in_hand, "output/desk/display");

    let menus = desk.texts("Rec. 709, BT.1886 (gamma 2.4)");
    assert_eq!(menus.len(), 3);
    desk.click(menus[1]);
    desk.frame(&[]);
    let entry = desk.text("Suite 2");
    desk.click(entry);
    desk.frame(&[]);
    assert_eq!(desk.show.outputs.client.display.id, "suite");
    assert_eq!(desk.show.outputs.desk.display.id, "rec709");

    desk.click(desk.text("trim of client"));
    desk.frame(&[]);
    let before = desk.show.clone();
    for (row, field) in [
        ("exposure", TrimField::Exposure),
        ("saturation", TrimField::Saturation),
        ("roll off", TrimField::RollOff),
    ] {
        // The last of its name: balance has some too.
        let at = *desk.texts(row).last().unwrap();
        desk.drag(at, at + Vec2::new(25.0, 0.0), Duration::ZERO);
        assert!(desk.show.outputs.client.trim.get(field) > field.parameter().default + 0.02, "{row}");
        assert_eq!(&*desk.panes.in_hand, format!("output/client/{}", field.parameter().key));
    }
    assert_eq!(desk.history.undoable(), 4);
    desk.text("trim of client  •");
    (0..3).for_each(|_| desk.undo());
    assert_eq!(desk.show, before);

    let calibration = desk.text("calibration monitor.cube");
    let take_out = desk.texts("take out").into_iter().find(|at| (at.y - calibration.y).abs() < 6.0).unwrap();
    desk.click(take_out);
    assert_eq!(desk.show.outputs.get(Output::Files).calibration, None);
}
