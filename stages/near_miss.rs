//! The nearest known word to one that is not known. Wording the question "did you mean …" stays with the caller.

/// The candidate nearest to `word`: the same but for case, else within a third of its length in edits (at least one).
///
/// Ties go to the earlier candidate, so the answer does not depend on anything but its inputs.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = word.to_lowercase();
    let allowed = (folded.chars().count() / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| (edits(&folded, &candidate.to_lowercase()), candidate))
        .filter(|(distance, candidate)| *distance <= allowed && *distance < candidate.chars().count())
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Fewest insertions, deletions, replacements and swaps of neighbours from `a` to `b`
/// (Damerau 1964, in the restricted form that edits no stretch twice).
fn edits(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let replaced = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = replaced.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(before[j - 2] + 1);
            }
            row.push(least);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_swaps_losses_and_case() {
        let known = ["geometry", "instrument", "sample", "layout"];
        assert_eq!(nearest("geomtery", known), Some("geometry"));
        assert_eq!(nearest("Sample", known), Some("sample"));
        assert_eq!(nearest("instruments", known), Some("instrument"));
        assert_eq!(nearest("colour", known), None);
    }

    #[test]
    fn one_letter_is_not_near_every_other() {
        assert_eq!(nearest("x", ["y", "z"]), None);
    }

    #[test]
    fn counts_edits() {
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("ca", "ac"), 1);
        assert_eq!(edits("kitten", "sitting"), 3);
    }
}
