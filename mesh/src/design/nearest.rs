//! The known name nearest to a misspelt one.

/// The candidate with the smallest edit distance, if it is close enough to be meant.
///
/// Close enough: at most one third of the longer name's letters (at least one) differ; capitals do not count.
/// Among equals the first candidate wins.
pub fn nearest<'a>(name: &str, candidates: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let wanted = name.to_lowercase();
    let mut best: Option<(usize, &str)> = None;
    for candidate in candidates.filter(|c| !c.is_empty()) {
        let lower = candidate.to_lowercase();
        let limit = (wanted.chars().count().max(lower.chars().count()) / 3).max(1);
        let distance = edit_distance(&wanted, &lower);
        if distance <= limit && best.is_none_or(|(d, _)| distance < d) {
            best = Some((distance, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// Letters inserted, removed, replaced or swapped with their neighbour to turn `a` into `b`.
fn edit_distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.chars().take(80).collect();
    let b: Vec<char> = b.chars().take(80).collect();
    let mut before_last = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let replace = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = replace.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before_last[j - 2] + 1);
            }
        }
        before_last = last;
        last = row;
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_offers_only_what_may_be_meant() {
        let known = ["thickness", "material", "where"];
        assert_eq!(nearest("thicknes", known.into_iter()), Some("thickness"));
        assert_eq!(nearest("hticknes", known.into_iter()), Some("thickness"));
        assert_eq!(nearest("Material", known.into_iter()), Some("material"));
        assert_eq!(nearest("colour", known.into_iter()), None);
        assert_eq!(nearest("", known.into_iter()), None);
    }

    #[test]
    fn edit_distance_counts_letters() {
        for (a, b, d) in [("", "abc", 3), ("kitten", "sitting", 3), ("ab", "ba", 1), ("same", "same", 0)] {
            assert_eq!(edit_distance(a, b), d, "{a} {b}");
        }
    }
}
