//! Rounding against worked examples: JCGM 100:2008, 7.2.2 and 7.2.6 (the mass of 100 g), and edge cases of carry.

use super::*;

fn at(value: f64, u: f64, low: f64, high: f64) -> Interval {
    Interval { value, u, low: Some(low), high: Some(high) }
}

#[test]
fn the_example_of_the_guide() {
    // JCGM 100:2008, 7.2.2: m_S = 100.021 47 g, u = 0.35 mg is written 100.021 47(35) g.
    assert_eq!(concise(100.02147, 0.00035), "100.02147(35)");
    // The same, 7.2.6: 10.057 62 Ω with u = 27 mΩ is rounded to 10.058 Ω.
    assert_eq!(value_of(10.05762, 0.027), "10.058");
}

#[test]
fn two_digits_of_the_uncertainty() {
    assert_eq!(plus_minus(0.86, 0.0123), "0.860 ± 0.012");
    assert_eq!(plus_minus(12.345, 0.44), "12.35 ± 0.44");
    assert_eq!(plus_minus(-0.004, 0.011), "\u{2212}0.004 ± 0.011");
    assert_eq!(plus_minus(1234.5, 56.0), "1234 ± 56");
}

#[test]
fn a_carry_of_the_uncertainty_changes_the_decimals() {
    assert_eq!(plus_minus(1.0, 0.0996), "1.00 ± 0.10");
    assert_eq!(plus_minus(9.996, 0.01), "9.996 ± 0.010");
}

#[test]
fn large_and_small_numbers_share_a_power_of_ten() {
    assert_eq!(plus_minus(1.23e-5, 4.5e-6), "(1.23 ± 0.45)×10⁻⁵");
    assert_eq!(concise(1.23e-5, 4.5e-6), "1.23(45)×10⁻⁵");
    assert_eq!(plus_minus(123_456.0, 123.4), "(1.2346 ± 0.0012)×10⁵");
    assert_eq!(plus_minus(12_347.0, 678.0), "(1.235 ± 0.068)×10⁴");
    assert_eq!(plus_minus(0.0, 2e-6), "(0.0 ± 2.0)×10⁻⁶");
    // A value that is nothing beside its uncertainty is zero, without a sign.
    assert_eq!(plus_minus(-1e-9, 0.5), "0.00 ± 0.50");
}

#[test]
fn an_uncertainty_above_the_value() {
    assert_eq!(plus_minus(0.02, 1.3), "0.0 ± 1.3");
    assert_eq!(concise(0.02, 1.3), "0.0(1.3)");
}

#[test]
fn without_an_uncertainty_three_digits() {
    assert_eq!(plain(0.0), "0");
    assert_eq!(plain(1234.5), "1234");
    assert_eq!(plain(0.012345), "0.0123");
    assert_eq!(plain(1.2345e-7), "1.23×10⁻⁷");
    assert_eq!(plain(-2.5e6), "\u{2212}2.50×10⁶");
    assert_eq!(plain(f64::NAN), MISSING);
    assert_eq!(plus_minus(0.5, 0.0), "0.500");
    assert_eq!(plus_minus(0.5, f64::NAN), "0.500");
    assert_eq!(concise(0.032_589_866_833_98, 1e-17), "0.0326");
}

#[test]
fn interval_ends_have_the_decimals_of_the_value() {
    assert_eq!(interval(&at(0.86, 0.012, 0.8312, 0.888)), "[0.831, 0.888]");
    assert_eq!(interval(&Interval { low: None, high: None, ..at(0.86, 0.012, 0.0, 0.0) }), MISSING);
    assert_eq!(interval(&Interval { high: None, ..at(0.86, 0.012, 0.8, 0.0) }), "[0.800, ∞]");
}

#[test]
fn shares_counts_and_settings() {
    assert_eq!(percent(0.12345), "12\u{a0}%");
    assert_eq!(percent(0.00412), "0.41\u{a0}%");
    assert_eq!(percent(0.0), "0\u{a0}%");
    assert_eq!(setting_percent(0.07), "7\u{a0}%");
    assert_eq!(setting_percent(0.025), "2.5\u{a0}%");
    assert_eq!(count(1, "reading"), "1 reading");
    assert_eq!(count(12_345, "reading"), "12\u{202f}345 readings");
    assert_eq!(setting(0.05), "0.05");
    assert_eq!(setting(-2e-7), "\u{2212}2×10⁻⁷");
}
