//! Squares in which each item follows each other item equally often: what one run leaves for the next falls on all alike.
//!
//! Williams (1949, Aust. J. Sci. Res. A 2:149): one square for an even number, a square and its mirror for an odd one.
//! Must not know what the items are.

/// Rows that a whole design has.
#[must_use]
pub const fn rows(items: usize) -> usize {
    if items > 1 && items % 2 == 1 { 2 * items } else { items }
}

/// The rows, each a permutation of `0..items`.
#[must_use]
pub fn design(items: usize) -> Vec<Vec<usize>> {
    // 0, 1, n-1, 2, n-2, ...: all differences between neighbours are different.
    let zigzag = |at: usize| if at % 2 == 1 { at.div_ceil(2) } else { (items - at / 2) % items };
    let row = |turn: usize| (0..items).map(|at| (zigzag(at) + turn) % items).collect::<Vec<usize>>();
    let square: Vec<Vec<usize>> = (0..items).map(row).collect();
    let mirrored = square.iter().map(|row| row.iter().rev().copied().collect());
    square.iter().cloned().chain(mirrored).take(rows(items)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_item_follows_each_other_and_stands_at_each_place_equally_often() {
        for items in 1..=24 {
            let design = design(items);
            assert_eq!(design.len(), rows(items));
            let times = design.len() / items;
            for one in 0..items {
                for other in 0..items {
                    let follows = design
                        .iter()
                        .flat_map(|row| row.windows(2))
                        .filter(|two| **two == [one, other])
                        .count();
                    assert_eq!(follows, if one == other { 0 } else { times }, "{items}: {one} then {other}");
                    let stands = design.iter().filter(|row| row[other] == one).count();
                    assert_eq!(stands, times, "{items}: {one} at {other}");
                }
            }
        }
    }
}
