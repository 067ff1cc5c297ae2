//! The answers about a footbed under load in a fitter's words: a few lines for the screen, fewer for
//! the sheet.

use super::{Drop, Figures, Flex};
use crate::value::figure;

/// What the figures take for granted.
pub const ASSUMED: &str = "worked out for small bending of a thin plate that lies loose on the boot board; its ends may slide, so \
                           the arch is no stiffer than a flat strip. An arch whose ends are held would be far stiffer (some 40 times)";

/// The same for paper.
pub const SHORTLY_ASSUMED: &str =
    "Small bending, loose on the board, ends slide: soft as a flat strip; held ends are far stiffer";

impl Flex {
    /// The answers, a sentence or two each.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![];
        if let Some(figures) = &self.figures {
            lines.push(format!(
                "under load, {}, {:.0} N on this foot: {}",
                self.load_title,
                figures.force_n,
                arch(figures)
            ));
            lines.extend(figures.drop.map(|left| drop(&left, figures.arch_give_mm)));
            lines.extend(strain(figures));
            lines.extend(squeeze(figures));
            lines.extend(figures.suggestion.as_ref().map(|suggestion| {
                format!("wanted {:.0} % of the foot's own drop: {}", 100.0 * suggestion.wanted_share, suggestion.words)
            }));
            lines.push(format!("stiffness: {}", figures.modulus_from));
        }
        lines.extend(self.missing.iter().map(|what| format!("not known: {what}")));
        lines
    }

    /// A few words for the sheet.
    pub fn brief(&self) -> String {
        let Some(figures) = &self.figures else {
            return self.missing.first().map_or(String::new(), |what| format!("not known: {what}"));
        };
        let what = match (figures.bends, figures.small) {
            (false, _) => format!("arch solid, squeezed {} mm", figure(figures.arch_drop_mm, 2)),
            (true, true) => format!("arch gives {} mm", figure(figures.arch_give_mm, 2)),
            (true, false) => format!("arch folds, gives some {:.0} mm", figures.arch_give_mm),
        };
        let allowed = figures.drop.map_or(String::new(), |drop| match drop.allowed_share < 0.0 {
            true => ", allows none of the foot's own drop".to_string(),
            false => format!(", allows {:.0} % of the foot's own drop", 100.0 * drop.allowed_share),
        });
        let strain = figures.bending.map_or(String::new(), |bending| {
            let limit = figures.strain_limit.map_or(String::new(), |limit| format!(" of {:.1} %", 100.0 * limit));
            format!(", strain {:.1} %{limit}", 100.0 * bending.strain)
        });
        format!("{what} by {:.0} N{allowed}{strain}", figures.force_n)
    }
}

fn giving(give_mm: f64) -> String {
    match give_mm < 0.0 {
        true => format!("{} mm less as heel and ball sink more than the arch", figure(-give_mm, 2)),
        false => format!("{} mm by giving", figure(give_mm, 2)),
    }
}

fn arch(figures: &Figures) -> String {
    let [heel, first, fifth] = figures.sink_mm.map(|mm| figure(mm, 2));
    let sinks = format!("heel {heel}, first met {first}, fifth met {fifth} mm");
    let [stiff, soft] = figures.sensitivity.stiff_soft_mm.map(|mm| figure(mm, 2));
    let drop = figure(figures.arch_drop_mm, 2);
    let give = figure(figures.arch_give_mm, 2);
    if !figures.bends {
        return format!(
            "the arch is solid down to the boot board and does not bend; it is squeezed by {drop} mm ({sinks}). Only \
             underside = \"relieved\" lets it bend"
        );
    }
    let other = figures.sensitivity.thinner_thicker_mm.map_or(String::new(), |both| {
        let [thinner, thicker] = both.map(|mm| figure(mm, 2));
        format!(", {thinner} with a flex zone 0.5 mm thinner, {thicker} with one 0.5 mm thicker")
    });
    let least = figures.sensitivity.stiff_soft_mm.into_iter().fold(figures.arch_give_mm, f64::min);
    let below = if least < 0.0 { " (below zero: those sink more)" } else { "" };
    format!(
        "the arch sinks {drop} mm ({sinks}), so it gives {give} mm against heel and ball{below}; \
         {stiff} to {soft} over the material's range{other}. One more mm there takes {:.0} N",
        figures.apex_stiffness_n_mm
    )
}

/// What is left of the foot's own drop, in words.
fn drop(drop: &Drop, give_mm: f64) -> String {
    let Drop { own_mm, by_shape_mm, allowed_share } = *drop;
    if allowed_share < 0.0 {
        let shape = match by_shape_mm < 0.0 {
            true => format!("{} mm by its height", figure(-by_shape_mm, 2)),
            false => format!("by its height {} mm below", figure(by_shape_mm, 2)),
        };
        let give = match give_mm < 0.0 {
            true => format!("{} mm as heel and ball sink more than the arch", figure(-give_mm, 2)),
            false => format!("less {} mm by giving", figure(give_mm, 2)),
        };
        return format!(
            "it allows none of the foot's own drop of {own_mm} mm: loaded it stands {} mm above the foot's arch seated \
             ({shape}, {give})",
            figure(-allowed_share * own_mm, 2)
        );
    }
    let shape = match by_shape_mm < 0.0 {
        true => format!("its height alone allows none ({} mm above the arch seated)", figure(-by_shape_mm, 2)),
        false => format!("{} mm by its height", figure(by_shape_mm, 2)),
    };
    let share = 100.0 * allowed_share;
    format!("it allows {share:.0} % of the foot's own drop of {own_mm} mm: {shape}, {}", giving(give_mm))
}

fn strain(figures: &Figures) -> Option<String> {
    let bending = figures.bending?;
    let [x, y] = bending.at_mm;
    let limit = figures
        .strain_limit
        .map_or("its limit is not known".to_string(), |limit| format!("{:.1} % is its limit", 100.0 * limit));
    let soft = match figures.small {
        true => "",
        false => ". It sinks by more than it is thick: too soft for small bending, so take all this as \"gives a lot\"",
    };
    Some(format!(
        "bending strains it by at most {:.2} %, at x {x:.0} y {y:.0} mm; {limit}{soft}",
        100.0 * bending.strain
    ))
}

fn squeeze(figures: &Figures) -> Option<String> {
    let each: Vec<String> = figures
        .squeeze
        .iter()
        .map(|s| format!("{} {:.0} % of {:.1} mm", s.under, 100.0 * s.squeezed, s.thickness_mm))
        .collect();
    let shut = figures.squeeze.first()?.shut_at;
    Some(format!("foam squeezed under {}; it is hard from {:.0} %", each.join(", "), 100.0 * shut))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "allows -18 % of the foot's own drop" was printed.
    #[test]
    fn an_arch_above_the_foots_own_is_told_in_words() {
        let told = |by_shape_mm: f64, give_mm: f64| {
            drop(&Drop { own_mm: 5.5, by_shape_mm, allowed_share: (by_shape_mm + give_mm) / 5.5 }, give_mm)
        };
        let above = told(-1.0, 0.01);
        assert!(
            above.starts_with("it allows none of the foot's own drop of 5.5 mm: loaded it stands 0.99 mm"),
            "{above}"
        );
        assert!(above.ends_with("(1.00 mm by its height, less 0.01 mm by giving)"), "{above}");
        assert!(told(1.1, 0.0).starts_with("it allows 20 % of the foot's own drop of 5.5 mm: 1.10 mm by its height"));
    }
}
