use std::time::Instant;
use sustent::profile::Shelf;
use sustent::{curve, footbed, gauge, job, ticket};
#[test]
fn prof() {
    let text = include_str!("../output-samples/PATROL-07/ticket.toml");
    let t = ticket::read(text, "t", &Shelf::built_in(), &|_: &str| Err(String::new())).unwrap();
    let order = &t.feet[0];
    let n = 20;
    let time = |what: &str, f: &mut dyn FnMut()| {
        let mut best = f64::INFINITY;
        for _ in 0..n {
            let s = Instant::now();
            f();
            best = best.min(s.elapsed().as_secs_f64());
        }
        println!("{what}: {:.3} ms", best * 1e3);
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    pool.install(|| {
        let m = order.trim_measures();
        time("outline", &mut || drop(curve::outline_from_measures(&m).unwrap()));
        let outline = curve::outline_from_measures(&m).unwrap();
        let len = order.foot.length_mm();
        time("build_top", &mut || drop(footbed::Footbed::build_top(outline.clone(), len, &order.support, footbed::Underside::Flat).unwrap()));
        time("build", &mut || drop(footbed::Footbed::build(outline.clone(), len, &order.support, footbed::Underside::Flat).unwrap()));
        let fb = footbed::Footbed::build(outline.clone(), len, &order.support, footbed::Underside::Flat).unwrap();
        time("places", &mut || drop(footbed::Places::new(&outline, len, order.support.stations).unwrap()));
        time("read_design", &mut || drop(gauge::read_design(&fb)));
        time("read_widths", &mut || drop(gauge::read_widths(&fb)));
        time("design", &mut || drop(job::design(&t, order).unwrap()));
        let d = job::design(&t, order).unwrap();
        time("search", &mut || { let mut d = d.clone(); d.search(&t); });
        println!("{:#?}", { let mut d = d.clone(); d.search(&t); d.intervals });
    });
}
