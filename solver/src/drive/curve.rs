//! Smooth curves through computed values: cubic splines with many components.
//!
//! In: ascending places with a value each. Out: value, slope and bend anywhere; straight on beyond the ends. Absent:
//! what the values mean.

/// A cubic spline (third derivative continuous at the second and the last but one place), straight beyond its ends.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    places: Vec<f64>,
    /// Components of every value, place by place.
    values: Vec<Vec<f64>>,
    /// Second derivatives, place by place.
    bends: Vec<Vec<f64>>,
}

impl Curve {
    /// Through values at strictly ascending places; None where they are not, or values differ in length.
    #[must_use]
    pub fn new(places: Vec<f64>, values: Vec<Vec<f64>>) -> Option<Self> {
        let n = places.len();
        let width = values.first().map_or(0, Vec::len);
        let fits = n == values.len() && n > 0 && values.iter().all(|v| v.len() == width);
        if !fits || places.windows(2).any(|w| w[1] <= w[0] || !(w[1] - w[0]).is_finite()) {
            return None;
        }
        let mut bends = vec![vec![0.0; width]; n];
        if n > 2 {
            for c in 0..width {
                let own: Vec<f64> = values.iter().map(|v| v[c]).collect();
                for (bend, b) in bends.iter_mut().zip(second(&places, &own)) {
                    bend[c] = b;
                }
            }
        }
        Some(Self { places, values, bends })
    }

    /// First and last place.
    #[must_use]
    pub fn span(&self) -> [f64; 2] {
        [self.places.first().copied().unwrap_or(0.0), self.places.last().copied().unwrap_or(0.0)]
    }

    /// Components of a value.
    #[must_use]
    pub fn width(&self) -> usize {
        self.values.first().map_or(0, Vec::len)
    }

    /// Value, slope and second derivative of a component.
    #[must_use]
    pub fn at(&self, x: f64, component: usize) -> [f64; 3] {
        self.near(x).of(component)
    }

    /// The place `x` on the curve, for any number of components.
    #[must_use]
    pub fn near(&self, x: f64) -> Near<'_> {
        let n = self.places.len();
        if n < 2 {
            let only: &[f64] = self.values.first().map_or(&[], |v| v);
            return Near { values: [only; 2], bends: [&[]; 2], a: 1.0, b: 0.0, h: 0.0, beyond: 0.0 };
        }
        let [low, high] = self.span();
        let inside = x.clamp(low, high);
        let i = self.places.partition_point(|&p| p <= inside).clamp(1, n - 1);
        let h = self.places[i] - self.places[i - 1];
        Near {
            values: [&self.values[i - 1], &self.values[i]],
            bends: [&self.bends[i - 1], &self.bends[i]],
            a: (self.places[i] - inside) / h,
            b: (inside - self.places[i - 1]) / h,
            h,
            beyond: x - inside,
        }
    }
}

/// A place on a curve between two of its own.
#[derive(Debug, Clone, Copy)]
pub struct Near<'c> {
    values: [&'c [f64]; 2],
    bends: [&'c [f64]; 2],
    /// Shares of the place before and after.
    a: f64,
    b: f64,
    /// Distance of the two places; 0 for a curve of one.
    h: f64,
    /// How far it lies beyond the ends.
    beyond: f64,
}

impl Near<'_> {
    /// Value, slope and second derivative of a component.
    #[inline]
    #[must_use]
    pub fn of(&self, component: usize) -> [f64; 3] {
        let [y0, y1] = self.values.map(|v| v.get(component).copied().unwrap_or(0.0));
        if self.h == 0.0 {
            return [y0, 0.0, 0.0];
        }
        let [m0, m1] = self.bends.map(|m| m[component]);
        let (a, b, h) = (self.a, self.b, self.h);
        let value = a * y0 + b * y1 + ((a * a * a - a) * m0 + (b * b * b - b) * m1) * h * h / 6.0;
        let slope = (y1 - y0) / h + ((1.0 - 3.0 * a * a) * m0 + (3.0 * b * b - 1.0) * m1) * h / 6.0;
        if self.beyond == 0.0 {
            [value, slope, a * m0 + b * m1]
        } else {
            [value + slope * self.beyond, slope, 0.0]
        }
    }
}

/// Second derivatives of the spline through one component.
fn second(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let h: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let rise: Vec<f64> = y.windows(2).zip(&h).map(|(w, h)| (w[1] - w[0]) / h).collect();
    if n == 3 {
        // One parabola.
        return vec![2.0 * (rise[1] - rise[0]) / (h[0] + h[1]); 3];
    }
    // Inner equations; the end values are put in through the condition on the third derivative.
    let k = n - 2;
    let (mut low, mut mid, mut high, mut right) = (vec![0.0; k], vec![0.0; k], vec![0.0; k], vec![0.0; k]);
    for i in 0..k {
        (low[i], mid[i], high[i]) = (h[i], 2.0 * (h[i] + h[i + 1]), h[i + 1]);
        right[i] = 6.0 * (rise[i + 1] - rise[i]);
    }
    // m0 = m1 (1 + h0/h1) - m2 h0/h1, and alike at the other end.
    let (first, last) = (h[0] / h[1], h[n - 2] / h[n - 3]);
    mid[0] += low[0] * (1.0 + first);
    high[0] -= low[0] * first;
    mid[k - 1] += high[k - 1] * (1.0 + last);
    low[k - 1] -= high[k - 1] * last;
    for i in 1..k {
        let w = low[i] / mid[i - 1];
        mid[i] -= w * high[i - 1];
        right[i] -= w * right[i - 1];
    }
    let mut m = vec![0.0; n];
    for i in (0..k).rev() {
        let next = if i + 1 < k { high[i] * m[i + 2] } else { 0.0 };
        m[i + 1] = (right[i] - next) / mid[i];
    }
    m[0] = m[1] * (1.0 + first) - m[2] * first;
    m[n - 1] = m[n - 2] * (1.0 + last) - m[n - 3] * last;
    m
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cubics_are_exact_and_the_error_falls_with_the_fourth_power() {
        let cubic = |x: f64| 1.0 - 2.0 * x + 0.5 * x * x - 0.3 * x * x * x;
        let places = vec![-1.0, -0.4, 0.1, 0.9, 1.6];
        let curve = Curve::new(places.clone(), places.iter().map(|&x| vec![cubic(x)]).collect()).unwrap();
        for x in [-0.9, 0.0, 0.5, 1.55] {
            let [v, s, b] = curve.at(x, 0);
            let (slope, bend) = (-2.0 + x - 0.9 * x * x, 1.0 - 1.8 * x);
            assert!(
                (v - cubic(x)).abs() < 1e-13 && (s - slope).abs() < 1e-12 && (b - bend).abs() < 1e-11,
                "{x}"
            );
        }
        let beyond = curve.at(2.6, 0)[0] - curve.at(1.6, 0)[0];
        assert!((beyond - curve.at(1.6, 0)[1]).abs() < 1e-12, "straight beyond the end");
        let worst = |n: u32| {
            let at = |i: u32| -1.0 + 2.0 * f64::from(i) / f64::from(n);
            let places: Vec<f64> = (0..=n).map(at).collect();
            let curve = Curve::new(places.clone(), places.iter().map(|x| vec![x.sin()]).collect()).unwrap();
            (0..200)
                .map(|i| -1.0 + 0.01 * f64::from(i))
                .map(|x| (curve.at(x, 0)[0] - x.sin()).abs())
                .fold(0.0, f64::max)
        };
        let order = (worst(16) / worst(32)).log2();
        assert!((order - 4.0).abs() < 0.4, "order {order}");
    }

    #[test]
    fn few_places_and_wrong_ones() {
        assert!(Curve::new(vec![0.0, 0.0], vec![vec![1.0], vec![2.0]]).is_none(), "not ascending");
        assert!(Curve::new(vec![0.0], vec![]).is_none(), "no value");
        let line = Curve::new(vec![0.0, 2.0], vec![vec![1.0], vec![5.0]]).unwrap();
        let one = Curve::new(vec![1.0], vec![vec![7.0]]).unwrap();
        for (got, want) in [(line.at(1.0, 0), [3.0, 2.0, 0.0]), (one.at(4.0, 0), [7.0, 0.0, 0.0])] {
            assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1e-15), "{got:?}");
        }
        let parabola = Curve::new(vec![0.0, 1.0, 3.0], vec![vec![0.0], vec![1.0], vec![9.0]]).unwrap();
        assert!((parabola.at(2.0, 0)[0] - 4.0).abs() < 1e-12, "a parabola");
    }
}
