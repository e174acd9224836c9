//! Middles that a few outliers do not move: medians and the spread around them.

/// Median of values (sorted in place); none when there are none.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(values[n / 2]),
        _ => Some(f64::midpoint(values[n / 2 - 1], values[n / 2])),
    }
}

/// The same, of an even number of values the upper of the two in the middle: one of the values themselves.
pub fn upper_median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// 1.4826 times the median distance from the median: the SD, were the values normal.
pub fn spread(values: &[f64], centre: f64) -> f64 {
    let mut away: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    1.4826 * median(&mut away).unwrap_or(0.0)
}

/// Weighted median: half of the weight lies on either side. `pairs` are (value, weight).
pub fn weighted_median(pairs: &mut [(f64, f64)]) -> Option<f64> {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = pairs.iter().map(|p| p.1).sum();
    if total <= 0.0 {
        return None;
    }
    let mut sum = 0.0;
    let mut before: Option<(f64, f64)> = None;
    for &(value, weight) in pairs.iter() {
        let at = (sum + weight / 2.0) / total;
        if at >= 0.5 {
            // Between the two middle ones in proportion, as the plain median does.
            return Some(match before {
                Some((v, a)) if at > a => v + (value - v) * (0.5 - a) / (at - a),
                _ => value,
            });
        }
        before = Some((value, at));
        sum += weight;
    }
    before.map(|b| b.0)
}
