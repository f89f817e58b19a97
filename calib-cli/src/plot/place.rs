//! Where labels go so that none lies on another.

/// Moves `wanted` positions apart until neighbours are at least `gap` from each
/// other, keeping their order, each as near to its wish as that allows, and
/// inside `low..=high` if there is room. Returns them in the order given.
pub fn spread(wanted: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));

    // Blocks of touching labels: the sum of what its members wish its start to
    // be, and how many they are. A block sits at the mean wish.
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    for index in &order {
        blocks.push((wanted[*index], 1));
        while let [.., (before, count), (wish, members)] = blocks[..] {
            let (start, next) = (before / count as f64, wish / members as f64);
            if next - start >= gap * count as f64 {
                break;
            }
            let shift = gap * count as f64 * members as f64;
            blocks.truncate(blocks.len() - 2);
            blocks.push((before + wish - shift, count + members));
        }
    }

    let mut placed = vec![0.0; wanted.len()];
    let mut next = order.iter();
    let mut floor = low;
    let mut remaining = wanted.len();
    for (sum, count) in blocks {
        let ceiling = high - gap * (remaining.saturating_sub(1)) as f64;
        let start = (sum / count as f64).min(ceiling).max(floor);
        for (step, index) in next.by_ref().take(count).enumerate() {
            placed[*index] = start + gap * step as f64;
        }
        floor = start + gap * count as f64;
        remaining -= count;
    }
    placed
}

/// An upright rectangle, logical pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Space {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

impl Space {
    /// Whether the two share any area.
    pub fn touches(&self, other: &Space) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// The space with `by` more on every side.
    pub fn grown(&self, by: f64) -> Space {
        Space {
            left: self.left - by,
            top: self.top - by,
            right: self.right + by,
            bottom: self.bottom + by,
        }
    }

    /// Whether `other` lies wholly inside.
    pub fn holds(&self, other: &Space) -> bool {
        self.left <= other.left
            && other.right <= self.right
            && self.top <= other.top
            && other.bottom <= self.bottom
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_with_room_stay_where_they_want_to_be() {
        assert_eq!(
            spread(&[80.0, 10.0, 50.0], 20.0, 0.0, 100.0),
            [80.0, 10.0, 50.0]
        );
    }

    #[test]
    fn crowded_labels_move_apart_around_their_middle() {
        assert_eq!(spread(&[50.0, 50.0], 20.0, 0.0, 100.0), [40.0, 60.0]);
        assert_eq!(
            spread(&[50.0, 52.0, 54.0], 20.0, 0.0, 100.0),
            [32.0, 52.0, 72.0]
        );
    }

    #[test]
    fn labels_stay_inside_where_there_is_room() {
        assert_eq!(spread(&[99.0, 98.0], 20.0, 0.0, 100.0), [100.0, 80.0]);
        assert_eq!(spread(&[-5.0, 1.0], 20.0, 0.0, 100.0), [0.0, 20.0]);
        for wanted in [vec![60.0, 95.0, 96.0, 97.0], vec![1.0, 2.0, 3.0, 40.0]] {
            let mut placed = spread(&wanted, 20.0, 0.0, 100.0);
            placed.sort_by(f64::total_cmp);
            for pair in placed.windows(2) {
                assert!(pair[1] - pair[0] >= 20.0 - 1e-9, "{placed:?}");
            }
            assert!(placed[0] >= 0.0 && placed[3] <= 100.0, "{placed:?}");
        }
    }
}
