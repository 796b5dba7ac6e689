//! Raw codes to compressed bytes and back, and runs of blocks packed anew, bit for bit the same.
//!
//! The packing is pco's standalone format. Knows nothing of SQL. A block that does not give exactly the
//! number of codes it was counted with is an error, never a shorter or padded result.

use pco::standalone::{simple_compress, simple_decompress_into};
use pco::{ChunkConfig, data_types::Number};

/// Most samples in one packed block: what pco takes as one page.
pub const SAMPLES_PER_BLOCK_MAX: usize = 1 << 18;
/// Effort while a run is going on: blocks are small and packed again soon.
const LEVEL_OPEN: usize = 4;
/// Effort for blocks that stay.
const LEVEL_KEPT: usize = 8;

/// One stored block, unpacked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawBlock {
    /// Index in the stream of the first code.
    pub first_sample: u64,
    /// The codes.
    pub counts: Vec<i32>,
    /// Missing samples inside: (offset, how many).
    pub missing: Vec<(u32, u32)>,
}

/// How hard to pack.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Effort {
    /// Soon to be packed again.
    Open,
    /// To stay.
    Kept,
}

/// Packs numbers.
pub(super) fn pack<T: Number>(numbers: &[T], effort: Effort) -> Result<Vec<u8>, String> {
    let level = match effort {
        Effort::Open => LEVEL_OPEN,
        Effort::Kept => LEVEL_KEPT,
    };
    let config = ChunkConfig::default().with_compression_level(level);
    simple_compress(numbers, &config).map_err(|error| error.to_string())
}

/// The sum stored beside packed bytes (CRC-32 of RFC 1952): the packing would unpack some damaged bytes
/// to other codes without a word.
pub(super) fn sum(bytes: &[u8]) -> u32 {
    let mut crc = flate2::Crc::new();
    crc.update(bytes);
    crc.sum()
}

/// Unpacks exactly `expected` numbers.
pub(super) fn unpack<T: Number + Default>(bytes: &[u8], expected: usize) -> Result<Vec<T>, String> {
    let mut numbers = vec![T::default(); expected];
    let progress = simple_decompress_into(bytes, &mut numbers).map_err(|error| error.to_string())?;
    if progress.n_processed != expected || !progress.finished {
        let found = progress.n_processed;
        let more = if progress.finished { "" } else { " and more" };
        return Err(format!("expected {expected} codes, found {found}{more}"));
    }
    Ok(numbers)
}

/// Joins blocks that follow each other without a hole and cuts them into blocks of at most
/// [`SAMPLES_PER_BLOCK_MAX`]. `blocks` are in order of `first_sample`.
pub(super) fn regroup(blocks: &[RawBlock]) -> Vec<RawBlock> {
    let mut whole: Vec<RawBlock> = Vec::new();
    for block in blocks {
        match whole.last_mut() {
            Some(last) if last.first_sample + last.counts.len() as u64 == block.first_sample => {
                let shift = last.counts.len() as u32;
                last.counts.extend_from_slice(&block.counts);
                last.missing
                    .extend(block.missing.iter().map(|&(at, n)| (at + shift, n)));
            }
            _ => whole.push(block.clone()),
        }
    }
    whole.iter().flat_map(cut).collect()
}

fn cut(block: &RawBlock) -> Vec<RawBlock> {
    let pieces = block.counts.chunks(SAMPLES_PER_BLOCK_MAX).enumerate();
    pieces
        .map(|(index, counts)| {
            let start = (index * SAMPLES_PER_BLOCK_MAX) as u64;
            let end = start + counts.len() as u64;
            let missing = block.missing.iter().filter_map(|&(at, n)| {
                let from = u64::from(at).max(start);
                let to = (u64::from(at) + u64::from(n)).min(end);
                (from < to).then(|| ((from - start) as u32, (to - from) as u32))
            });
            RawBlock {
                first_sample: block.first_sample + start,
                counts: counts.to_vec(),
                missing: missing.collect(),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn samples(blocks: &[RawBlock]) -> Vec<(u64, i32, bool)> {
        let mut all = Vec::new();
        for block in blocks {
            for (offset, &code) in block.counts.iter().enumerate() {
                let lost = block
                    .missing
                    .iter()
                    .any(|&(at, n)| (at as usize..(at + n) as usize).contains(&offset));
                all.push((block.first_sample + offset as u64, code, lost));
            }
        }
        all
    }

    proptest! {
        // The blocks are large, so fewer cases than usual.
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn packed_codes_come_back_bit_for_bit(codes in prop::collection::vec(any::<i32>(), 1..2000)) {
            for effort in [Effort::Open, Effort::Kept] {
                let bytes = pack(&codes, effort).unwrap();
                prop_assert_eq!(&unpack::<i32>(&bytes, codes.len()).unwrap(), &codes);
                prop_assert!(unpack::<i32>(&bytes, codes.len() - 1).is_err());
                prop_assert!(unpack::<i32>(&bytes, codes.len() + 1).is_err());
            }
        }

        #[test]
        fn damaged_bytes_never_panic(at in 0_usize..200, value in any::<u8>()) {
            let codes: Vec<i32> = (0..500).map(|i| i * 37 % 101).collect();
            let mut bytes = pack(&codes, Effort::Kept).unwrap();
            let at = at % bytes.len();
            bytes[at] = value;
            if let Ok(back) = unpack::<i32>(&bytes, codes.len()) {
                prop_assert_eq!(back.len(), codes.len());
            }
        }

        #[test]
        fn regrouped_blocks_hold_the_same_samples_and_the_same_holes(
            lengths in prop::collection::vec(1_usize..60_000, 1..9), hole in any::<bool>()
        ) {
            let mut first_sample = 7;
            let mut blocks = Vec::new();
            for (index, &length) in lengths.iter().enumerate() {
                if hole && index == 2 {
                    first_sample += 5;
                }
                let counts: Vec<i32> = (0..length).map(|i| (i * (index + 3)) as i32).collect();
                let missing = vec![(length as u32 / 2, length as u32 - length as u32 / 2)];
                blocks.push(RawBlock { first_sample, counts, missing });
                first_sample += length as u64;
            }
            let regrouped = regroup(&blocks);
            prop_assert!(samples(&blocks) == samples(&regrouped));
            prop_assert!(regrouped.iter().all(|b| b.counts.len() <= SAMPLES_PER_BLOCK_MAX));
            let total: usize = lengths.iter().sum();
            let most = total.div_ceil(SAMPLES_PER_BLOCK_MAX) + usize::from(hole && lengths.len() > 2);
            prop_assert!(regrouped.len() <= most);
        }
    }

    #[test]
    fn gaussian_noise_is_stored_within_a_tenth_of_its_entropy() {
        // Entropy of a normal variable rounded to whole codes: log2(sd * sqrt(2*pi*e)) bits, exact to
        // 1e-6 bit for sd >= 1 (Cover and Thomas, Elements of Information Theory, theorem 8.3.1).
        for sd in [4.0_f64, 30.0, 1000.0] {
            let codes = gaussian(SAMPLES_PER_BLOCK_MAX, sd);
            let bytes = pack(&codes, Effort::Kept).unwrap();
            let bits = bytes.len() as f64 * 8.0 / codes.len() as f64;
            let bound = (sd * (2.0 * std::f64::consts::PI * std::f64::consts::E).sqrt()).log2();
            println!(
                "sd {sd}: {bits:.3} bits a sample, bound {bound:.3}, ratio {:.4}",
                bits / bound
            );
            assert!(bits <= 1.10 * bound, "sd {sd}: {bits} bits, bound {bound}");
        }
    }

    fn gaussian(n: usize, sd: f64) -> Vec<i32> {
        let mut state = 0x1234_5678_9abc_def1_u64;
        let mut uniform = move || {
            // Marsaglia, Xorshift RNGs, J. Stat. Soft. 8 (2003), the 64-bit triple (13, 7, 17).
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            ((state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        };
        (0..n)
            .map(|_| {
                let radius = (-2.0 * uniform().ln()).sqrt();
                let angle = 2.0 * std::f64::consts::PI * uniform();
                (200_000.0 + sd * radius * angle.cos()).round() as i32
            })
            .collect()
    }
}
