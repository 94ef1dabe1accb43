//! What a LUT's rows say.

use super::*;

/// A LUT's rows say what it expects, what is assumed and what its bake costs; the menus ask for another.
#[test]
fn a_lut_says_what_it_expects_and_costs() {
    use crate::desk::luts::Wish;
    use crate::look::{Bake, List, NamedLut};
    let mut lut = NamedLut::new("luts/print.clf", Arc::default());
    let bake = Bake {
        p99: 0.25,
        max: 1.5,
        light: [false; 2],
        matrices: [None; 2],
        input: Some("log".into()),
        output: None,
    };
    lut.bake = Some(bake);
    let mut desk = with_curves();
    desk.show.chain.look.push(Stage { lut: Some(lut), ..Stage::new(stage("lut").unwrap()) });
    desk.frame(&[]);
    desk.frame(&[]);
    desk.text("print.clf");
    desk.text("acescct is assumed: nothing says otherwise");
    desk.text("coarsely baked: 99 of 100 colours within 0.25 of a 10-bit code, all within 1.50");
    let sides = desk.texts("acescct");
    assert_eq!(sides.len(), 2, "what it expects and what it gives");
    desk.click(sides[0]);
    desk.frame(&[]);
    assert!(desk.texts("bt1886").is_empty(), "displays are not among them");
    let entry = *desk.texts("logc4").last().unwrap();
    desk.click(entry);
    let wish = Wish {
        stage: Some((List::Look, 1)),
        file: "luts/print.clf".into(),
        said: [crate::colour::space("logc4"), None],
    };
    assert_eq!(desk.panes.lut_wish.take(), Some(wish));
    assert_eq!(desk.history.undoable(), 0, "nothing changes before the file is read");
}
