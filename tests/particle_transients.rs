//! Transients whose shape no formula made (`tests/particle-transients/README.md`).

use crate::support::table::read;
use crate::support::{copy_folder, root, shearback};

#[test]
fn shares_of_simulated_particles_are_inside_their_intervals() {
    let folder = tempfile::tempdir().unwrap();
    copy_folder(&root().join("tests/particle-transients"), folder.path());
    let said = shearback(&["run", folder.path().to_str().unwrap(), "--last-stage", "uncertainty"]);
    assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
    let states = read(&folder.path().join("results/tables/states.csv"));
    for (sample, share) in [("a", 0.4566), ("b", 0.0216), ("c", 0.5317)] {
        let state = states.iter().find(|row| row.text("sample") == sample).unwrap();
        let number = |column: &str| state.number(column).unwrap_or_else(|| panic!("{sample}: no {column}"));
        let (low, high) = (number("contact_share_low"), number("contact_share_high"));
        assert!(low < share && share < high, "{sample}: {share} not in {low}..{high}");
        // Noise of this small system allows no more than 0.1 on a state; the minimum would be off by 0.16 to 0.34.
        assert!((number("contact_share") - share).abs() < 0.1, "{sample}: {}", number("contact_share"));
    }
}
