//! Everything that is known of one foot, by the names that rules use; what follows by definition
//! included, with its class.

use super::derived;
use super::measures::{MeasuredFoot, Measures};
use crate::foot::Loaded;
use crate::profile::rules::{Class, Fact, Facts, LOADED, Met, PLAIN};

/// Facts of one foot. The other foot only lends differences.
pub fn facts(measures: &Measures, foot: &MeasuredFoot, classes: &[Class]) -> Facts {
    let mut facts = Facts::new();
    let other = measures.feet.iter().find(|other| other.side != foot.side);
    of_measures(&mut facts, foot, other);
    of_shares(&mut facts, foot);
    of_person(&mut facts, measures, foot);
    of_definitions(&mut facts, measures, foot);
    for class in classes {
        if let Some(word) = class_of(class, &facts) {
            facts.insert(format!("{}_class", class.name), Fact::Word(word.to_owned()));
        }
    }
    facts
}

/// The class that a derived measure falls into; `None` when the measure is not known or no cut-offs
/// are used.
pub fn class_of<'a>(class: &'a Class, facts: &Facts) -> Option<&'a str> {
    facts.get(&class.name)?;
    let band = class.bands.iter().find(|(_, condition)| condition.met(facts) == Met::Yes);
    let word = band.map_or(class.otherwise.as_str(), |(word, _)| word.as_str());
    (!word.is_empty()).then_some(word)
}

fn put(facts: &mut Facts, name: impl Into<String>, number: Option<f64>) {
    if let Some(number) = number.filter(|number| number.is_finite()) {
        facts.insert(name.into(), Fact::Number(number));
    }
}

fn of_measures(facts: &mut Facts, foot: &MeasuredFoot, other: Option<&MeasuredFoot>) {
    for name in LOADED {
        let measure = foot.loaded(name);
        put(facts, name, measure.most_loaded().map(|(_, mm)| mm));
        put(facts, format!("{name}_unloaded"), measure.unloaded);
        put(facts, format!("{name}_seated"), measure.seated);
        put(facts, format!("{name}_standing"), measure.standing);
        let change = measure.standing.zip(measure.seated).map(|(standing, seated)| standing - seated);
        put(facts, format!("{name}_change"), change);
        put(facts, format!("{name}_difference"), other.and_then(|other| difference(&measure, &other.loaded(name))));
    }
    for name in PLAIN {
        let (own, others) = (foot.plain.get(name), other.and_then(|other| other.plain.get(name)));
        put(facts, name, own.copied());
        put(facts, format!("{name}_difference"), own.zip(others).map(|(own, other)| (own - other).abs()));
    }
    if let Some(word) = foot.flexibility {
        facts.insert("flexibility".to_owned(), Fact::Word(word.to_owned()));
    }
}

/// How far the same measure of two feet differs, in the most loaded state that they share.
fn difference(one: &Loaded, other: &Loaded) -> Option<f64> {
    let same = [(one.standing, other.standing), (one.seated, other.seated), (one.unloaded, other.unloaded)];
    same.into_iter().find_map(|(one, other)| Some((one? - other?).abs()))
}

fn of_shares(facts: &mut Facts, foot: &MeasuredFoot) {
    let length = foot.loaded("length");
    put(facts, "ball_share", foot.loaded("ball_width").share_of(&length));
    put(facts, "heel_share", foot.loaded("heel_width").share_of(&length));
    put(facts, "heel_of_ball", foot.loaded("heel_width").share_of(&foot.loaded("ball_width")));
    put(facts, "first_met_share", foot.loaded("first_met").share_of(&length));
    put(facts, "fifth_met_share", foot.loaded("fifth_met").share_of(&length));
}

fn of_person(facts: &mut Facts, measures: &Measures, foot: &MeasuredFoot) {
    put(facts, "weight", measures.weight_kg);
    put(facts, "age", measures.age);
    put(facts, "leg_difference", measures.leg_difference_mm);
    put(facts, "ramp", measures.boot.ramp_deg);
    put(facts, "mondopoint", measures.boot.mondopoint_mm);
    put(facts, "stock_heel", measures.boot.stock_insole.heel_thickness);
    put(facts, "stock_ball", measures.boot.stock_insole.ball_thickness);
    let length = foot.loaded("length").most_loaded().map(|(_, mm)| mm);
    put(facts, "boot_room", measures.boot.mondopoint_mm.zip(length).map(|(boot, foot)| boot - foot));
    facts.insert("use".to_owned(), Fact::Word(measures.usage.clone()));
    if let Some(people) = measures.people {
        facts.insert("people".to_owned(), Fact::Word(people.to_owned()));
    }
    facts.insert("complaints".to_owned(), Fact::List(measures.complaints.clone()));
    let flags = measures.flags.iter().map(|flag| flag.name.clone()).collect();
    facts.insert("flags".to_owned(), Fact::List(flags));
}

fn of_definitions(facts: &mut Facts, measures: &Measures, foot: &MeasuredFoot) {
    let (navicular, dorsal, truncated) =
        (foot.loaded("navicular"), foot.loaded("dorsal_arch"), foot.loaded("first_met"));
    put(facts, "navicular_height", navicular.standing);
    put(facts, "navicular_drop", navicular.seated.zip(navicular.standing).map(|(seated, standing)| seated - standing));
    // The heel-to-met length hardly moves with load, so that one state serves both heights.
    let standing_length = truncated.standing.or(truncated.seated);
    let seated_length = truncated.seated.or(truncated.standing);
    let index = |height: Option<f64>, length: Option<f64>| derived::arch_height_index(height?, length?);
    let standing = index(dorsal.standing, standing_length);
    let seated = index(dorsal.seated, seated_length);
    put(facts, "arch_height_index", standing);
    put(facts, "arch_height_index_seated", seated);
    let stiffness = || derived::arch_stiffness(measures.weight_kg?, seated?, standing?);
    put(facts, "arch_stiffness", stiffness());
    if let Some((print, length)) = &foot.print {
        put(facts, "arch_index", Some(print.arch_index));
        put(facts, "chippaux_smirak", Some(print.chippaux_smirak));
        put(facts, "staheli", Some(print.staheli));
        put(facts, "print_share", foot.loaded("length").most_loaded().map(|(_, mm)| length / mm));
    }
}

/// What would have to be measured for a fact to be known, in words.
pub fn input_of(fact: &str) -> String {
    let named = |name: &str| format!("`{name}`");
    match fact {
        "ball_share" => named("ball_width"),
        "heel_share" => named("heel_width"),
        "heel_of_ball" => "`heel_width` and `ball_width`".to_owned(),
        "first_met_share" => named("first_met"),
        "fifth_met_share" => named("fifth_met"),
        "boot_room" | "mondopoint" => "`mondopoint` of the boot".to_owned(),
        "ramp" => "`ramp` of the boot".to_owned(),
        "stock_heel" => "`heel_thickness` of the stock insole".to_owned(),
        "stock_ball" => "`ball_thickness` of the stock insole".to_owned(),
        "navicular_drop" | "navicular_drop_class" => "`navicular` seated and standing".to_owned(),
        "navicular_height" | "navicular_height_class" => "`navicular` standing".to_owned(),
        "arch_index" | "arch_index_class" | "chippaux_smirak" | "chippaux_smirak_class" | "staheli" | "print_share" => {
            named("footprint")
        }
        "arch_height_index" | "arch_height_index_class" => "`dorsal_arch` and `first_met` standing".to_owned(),
        "arch_height_index_seated" | "arch_stiffness" => {
            "`dorsal_arch` seated and standing, `first_met`, `weight`".to_owned()
        }
        _ => match (fact.strip_suffix("_change"), fact.strip_suffix("_difference")) {
            (Some(name), _) => format!("`{name}` seated and standing"),
            (_, Some(name)) => format!("`{name}` of both feet"),
            _ => match ["seated", "standing", "unloaded"].iter().find(|s| fact.ends_with(*s)) {
                Some(state) => format!("`{}` {state}", fact.trim_end_matches(state).trim_end_matches('_')),
                None => named(fact.strip_suffix("_class").unwrap_or(fact)),
            },
        },
    }
}
