use super::*;
use crate::controller::example::record;
use crate::controller::record::ControllerRecord;
use crate::controller::table::ControllerTable;

/// The example, changed.
fn table(change: impl Fn(&mut ControllerRecord)) -> ControllerTable {
    let mut record = record();
    change(&mut record);
    ControllerTable::check(record).unwrap()
}

/// The example without its temperature term, over 300 to 700 counts, changed.
fn plain(change: impl Fn(&mut ControllerRecord)) -> ControllerTable {
    table(|record| {
        record.temperature = None;
        record.domain_low = 4800;
        record.domain_high = 11_200;
        change(record);
    })
}

fn between(old: &ControllerTable, new: &ControllerTable) -> Delta {
    Delta::between(old, new).unwrap()
}

/// Every knot and set point wetter by `units`.
fn raised(record: &mut ControllerRecord, units: i16) {
    for knot in &mut record.knots {
        knot.theta_v += units;
    }
    record.set_points.refill += units;
    record.set_points.stop += units;
}

#[test]
fn a_table_is_the_same_as_itself() {
    let one = table(|_| ());
    let delta = between(&one, &one);
    assert_eq!((delta.largest(), delta.mean), (0.0, 0.0));
    assert_eq!((delta.wetter, delta.drier), (None, None));
    assert_eq!(delta.only_old, OnlyOne::default());
    assert_eq!(
        delta.temperatures_centi,
        [Some(1000), Some(2000), Some(3000)]
    );
    assert!(delta.is_the_same());
    assert_eq!(delta.least_explained.unwrap().share(), 0.0);
    // 300.5 to 699.5 counts: 399 codes at the reference; 8 counts up or down leave
    // as many or one more.
    assert!(
        (3 * 399..=3 * 400).contains(&delta.compared),
        "{}",
        delta.compared
    );
}

#[test]
fn a_shift_shows_at_every_reading_alike() {
    let delta = between(&plain(|_| ()), &plain(|record| raised(record, 210)));
    assert_eq!(delta.compared, 401);
    assert!((delta.mean - 0.021).abs() < 1e-12);
    let wetter = delta.wetter.unwrap();
    assert!((wetter.difference() - 0.021).abs() < 1e-12);
    assert_eq!(delta.drier, None);
    let codes: Vec<u32> = delta.rows.iter().map(|row| row.code).collect();
    assert_eq!(codes, [300, 350, 400, 450, 500, 550, 600, 650, 700]);
    // 500 to 700 counts: 0.0210 for each, together 0.0297; below: 0.0250.
    let least = delta.least_explained.unwrap();
    assert!((least.both_uncertainties() - 0.021 * 2.0_f64.sqrt()).abs() < 1e-12);
    assert!((least.share() - 0.5_f64.sqrt()).abs() < 1e-12);
    assert!(!delta.readings_agree());
}

#[test]
fn a_difference_within_what_both_state_is_none() {
    // Both state 3 units: 6 are within, 7 are not.
    let old = plain(|_| ());
    for (units, same) in [(6, true), (7, false)] {
        let delta = between(&old, &plain(|record| raised(record, units)));
        assert_eq!(delta.readings_agree(), same, "{units}");
        // The set points moved with it, so the pump would not do the same.
        assert!(!delta.is_the_same());
    }
}

#[test]
fn the_largest_differences_both_ways_are_where_they_are() {
    let bent = plain(|record| {
        record.knots[0].theta_v += 100;
        record.knots[2].theta_v -= 500;
        record.set_points.refill = 1250;
        record.set_points.stop = 2525;
    });
    let delta = between(&plain(|_| ()), &bent);
    let (wetter, drier) = (delta.wetter.unwrap(), delta.drier.unwrap());
    assert_eq!((wetter.code, drier.code), (300, 700));
    assert!((wetter.difference() - 0.01).abs() < 1e-12);
    assert!((drier.difference() + 0.05).abs() < 1e-12);
    assert!((wetter.old.theta_v - 0.4).abs() < 1e-12);
    assert!((wetter.new.theta_v - 0.41).abs() < 1e-12);
}

#[test]
fn codes_only_one_answers_are_named() {
    let narrow = plain(|record| {
        record.domain_low = 16 * 310;
        record.domain_high = 16 * 690;
        (record.knots[0].count, record.knots[0].theta_v) = (310, 3900);
        (record.knots[2].count, record.knots[2].theta_v) = (690, 1050);
    });
    let delta = between(&plain(|_| ()), &narrow);
    assert_eq!(delta.only_old.ranges, [300..=309, 691..=700]);
    assert_eq!(delta.only_old.most_in_a_row, 10);
    assert_eq!(delta.only_new, OnlyOne::default());
    assert_eq!(delta.compared, 381);
    let domain = delta.settings.domain.unwrap();
    assert_eq!((domain.old, domain.new), ((300.0, 700.0), (310.0, 690.0)));
    // The other way round.
    let back = between(&narrow, &plain(|_| ()));
    assert_eq!(back.only_new, delta.only_old);
    assert!(!back.readings_agree());
}

#[test]
fn a_moved_start_says_what_it_is_in_the_soil() {
    let old = plain(|_| ());
    let new = plain(|record| {
        record.set_points.refill = 1450;
        record.set_points.refill_count = 610;
    });
    let delta = between(&old, &new);
    let refill = delta.settings.refill.unwrap();
    assert!(refill.moved());
    assert_eq!((refill.count.old, refill.count.new), (600, 610));
    // 0.0005 m3/m3 a count.
    assert!((refill.wetter_by.unwrap() + 0.005).abs() < 1e-12);
    assert!(!delta.settings.stop.unwrap().moved());
    assert!(delta.readings_agree());
    assert!(!delta.is_the_same());
}

#[test]
fn a_start_counted_at_another_reference_temperature_has_not_moved_in_the_soil() {
    // 0.8 counts a degree from 25 C: everything 4 counts higher, at 25 C.
    let warmer = table(|record| {
        if let Some(term) = &mut record.temperature {
            term.reference_centi = 2500;
        }
        for knot in &mut record.knots {
            knot.count += 4;
        }
        record.domain_low += 64;
        record.domain_high += 64;
        record.set_points.refill_count += 4;
        record.set_points.stop_count += 4;
    });
    let delta = between(&table(|_| ()), &warmer);
    assert!(delta.readings_agree());
    let refill = delta.settings.refill.unwrap();
    assert_eq!((refill.count.old, refill.count.new), (600, 604));
    assert!(refill.wetter_by.unwrap().abs() < 1e-12);
}

#[test]
fn a_lost_temperature_term_shows_at_the_ends_of_the_temperatures() {
    let old = table(|_| ());
    let delta = between(&old, &table(|record| record.temperature = None));
    // 8 counts at 10 C from the reference; a reading of warm soil is lowered by the
    // old table, to wetter counts.
    let (wetter, drier) = (delta.wetter.unwrap(), delta.drier.unwrap());
    assert_eq!(wetter.temperature_centi, Some(1000));
    assert_eq!(drier.temperature_centi, Some(3000));
    assert!((wetter.difference() - 0.008).abs() < 1e-9);
    assert!((drier.difference() + 0.008).abs() < 1e-9);
    let changed = delta.settings.temperature.unwrap();
    let used = changed.old.unwrap();
    assert!((used.counts_per_degree - 0.8).abs() < 1e-4);
    assert_eq!(changed.new, None);
}

#[test]
fn without_a_common_temperature_nothing_is_compared() {
    let warm = table(|record| {
        if let Some(term) = &mut record.temperature {
            (term.lowest_centi, term.highest_centi) = (3100, 4000);
        }
    });
    let delta = between(&table(|_| ()), &warm);
    assert_eq!((delta.compared, delta.rows.len()), (0, 0));
    assert_eq!(delta.least_explained, None);
    assert!(!delta.readings_agree());
}

#[test]
fn what_governs_the_pump_counts_and_names_and_dates_do_not() {
    let old = table(|_| ());
    let renamed = table(|record| {
        record.probe = "south".into();
        record.dates.recheck_by = jiff::civil::date(2027, 4, 2);
    });
    let delta = between(&old, &renamed);
    assert!(delta.is_the_same());
    assert_eq!(delta.settings.probe.unwrap().new, "south");
    assert!(delta.settings.dates.is_some() && delta.settings.soil.is_none());

    let longer = table(|record| record.timing.maximum_on_s = 7200);
    let delta = between(&old, &longer);
    assert_eq!(delta.settings.timing.unwrap().new.maximum_on_s, 7200);
    assert!(delta.readings_agree() && !delta.is_the_same());

    let live = between(&old, &table(|record| record.live.low = 20));
    assert!(live.settings.live.is_some() && !live.is_the_same());
}

#[test]
fn counts_of_another_converter_or_wiring_are_not_compared() {
    let old = plain(|_| ());
    let fine = plain(|record| {
        record.adc_bits = 12;
        record.live.high = 4000;
    });
    assert_eq!(
        Delta::between(&old, &fine),
        Err(NotComparable::AdcBits { old: 10, new: 12 })
    );
    let turned = plain(|record| {
        record.direction = Direction::RisesWhenWetter;
        record.knots[0].theta_v = 1000;
        record.knots[2].theta_v = 4000;
        record.set_points.refill_count = 400;
        record.set_points.stop_count = 550;
    });
    let refused = Delta::between(&old, &turned).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "with the old one counts fall as the soil gets wetter, with the new one counts rise as \
         the soil gets wetter"
    );
}
