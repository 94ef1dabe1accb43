//! The look check.
use greyhold::check::*;
use greyhold::look::{Stage, stage};
use greyhold::show::shipped_looks;
fn print(r: &Report) {
    println!("== {} at {} {}", r.name, r.strength, r.passes);
    for row in &r.rows { println!("{:4} {:22} {:>22} {:14} {:?} {}", row.declared.measure, row.declared.key, row.shown(), row.limit.as_ref().map_or(String::new(), |l| l.text()), row.verdict, row.note); }
    for n in &r.notes { println!("   {n}"); }
}
fn with(key: &str, values: &[(&str, f64)]) -> Stage {
    let mut s = Stage::new(stage(key).unwrap());
    for (k, v) in values { let i = s.declaration().index(k).unwrap(); s.values[i] = *v; }
    s
}
#[test]
fn explore() {
    let l = Limits::shipped();
    let t = std::time::Instant::now();
    print(&check(&Subject::of_function("identity", |x| x), 1.0, &l));
    println!("{:?}", t.elapsed());
    let sound = [with("contrast", &[("slope", 1.15)]), with("saturation", &[("saturation", 1.05)])];
    print(&check(&Subject::of_stages("c", &sound, None), 1.0, &l));
    for look in shipped_looks() {
        let t = std::time::Instant::now();
        print(&check(&Subject::of_stages(&look.name, &look.stages, look.intent), 1.0, &l));
        println!("{:?}", t.elapsed());
        let t = std::time::Instant::now();
        check_points(&Subject::of_stages(&look.name, &look.stages, look.intent), 1.0, &l);
        println!("points {:?}", t.elapsed());
    }
}
