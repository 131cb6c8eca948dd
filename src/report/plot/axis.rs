//! Scales: values to places on the drawing, and the round values that the grid stands on.

/// A linear scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    from: f64,
    to: f64,
    at_from: f64,
    at_to: f64,
}

impl Scale {
    /// Values `from..to` at the places `at_from..at_to`. An empty range is widened.
    pub(super) fn new((from, to): (f64, f64), (at_from, at_to): (f64, f64)) -> Self {
        let to = if to > from { to } else { from + 1.0 };
        Scale { from, to, at_from, at_to }
    }

    /// Where a value stands.
    pub(super) fn at(&self, value: f64) -> f64 {
        self.at_from + (value - self.from) / (self.to - self.from) * (self.at_to - self.at_from)
    }

    /// Round values inside the scale, about `count` of them.
    pub(super) fn ticks(&self, count: usize) -> Ticks {
        let rough = (self.to - self.from) / count.max(1) as f64;
        let decade = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|part| part * decade).into_iter().find(|step| *step >= rough * 0.999);
        let step = step.unwrap_or(10.0 * decade);
        let (first, last) = ((self.from / step).ceil() as i64, (self.to / step + 1e-9).floor() as i64);
        let decimals = (-step.log10().floor()).max(0.0) as usize;
        Ticks { values: (first..=last).map(|index| index as f64 * step).collect(), decimals }
    }
}

/// Round values and how to write them.
pub(super) struct Ticks {
    /// The values.
    pub(super) values: Vec<f64>,
    decimals: usize,
}

impl Ticks {
    /// One of them as text, with a true minus.
    pub(super) fn text(&self, value: f64) -> String {
        let text = format!("{:.*}", self.decimals, value.abs());
        if value < -1e-12 { format!("\u{2212}{text}") } else { text }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let ticks = Scale::new((-3.2, 3.2), (0.0, 100.0)).ticks(4);
        assert_eq!(ticks.values, [-2.0, 0.0, 2.0]);
        assert_eq!(ticks.text(-2.0), "\u{2212}2");
        assert_eq!(Scale::new((52.31, 52.39), (0.0, 1.0)).ticks(4).values.len(), 4);
    }

    #[test]
    fn a_scale_without_width_does_not_divide_by_nothing() {
        assert_eq!(Scale::new((5.0, 5.0), (0.0, 10.0)).at(5.0), 0.0);
    }
}
