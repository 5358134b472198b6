//! Linear prediction: the resonances behind a spectrum.

use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Levinson–Durbin recursion: `autocorrelation` (lags 0..=order) to the coefficients
/// a₁…a_order of 1 + a₁z⁻¹ + …; `None` where the sound is silent or perfectly predictable.
pub(super) fn levinson(autocorrelation: &[f64]) -> Option<Vec<f64>> {
    let order = autocorrelation.len() - 1;
    let mut error = autocorrelation[0];
    if !(error > 0.0 && error.is_finite()) {
        return None;
    }
    let mut a = vec![0.0; order];
    let mut old = a.clone();
    for i in 0..order {
        let mut sum = autocorrelation[i + 1];
        for j in 0..i {
            sum += a[j] * autocorrelation[i - j];
        }
        let k = -sum / error;
        old[..i].copy_from_slice(&a[..i]);
        for j in 0..i {
            a[j] = old[j] + k * old[i - 1 - j];
        }
        a[i] = k;
        error *= 1.0 - k * k;
        if !(error > 0.0) {
            return None;
        }
    }
    Some(a)
}

/// Roots of the monic polynomial zⁿ + a₁zⁿ⁻¹ + … + a_n by Aberth's method (O. Aberth, Math. Comp.
/// 27, 1973): all roots at once, with cubic convergence. `start` may hold roots of a nearby
/// polynomial, which saves steps.
pub(super) fn roots(a: &[f64], start: Option<&[Complex64]>) -> Vec<Complex64> {
    let n = a.len();
    let mut z: Vec<Complex64> = match start {
        Some(s) if s.len() == n => s.to_vec(),
        // Spread around a circle inside the unit circle, off the real axis.
        _ => (0..n).map(|i| Complex64::from_polar(0.9, 2.0 * PI * (i as f64 + 0.35) / n as f64)).collect(),
    };
    for _ in 0..60 {
        let mut moved = 0.0f64;
        for i in 0..n {
            let (mut p, mut d) = (Complex64::new(1.0, 0.0), Complex64::new(0.0, 0.0));
            for &c in a {
                d = d * z[i] + p;
                p = p * z[i] + c;
            }
            let newton = p / d;
            if !newton.is_finite() {
                continue;
            }
            let mut repel = Complex64::new(0.0, 0.0);
            for j in 0..n {
                if j != i {
                    let gap = z[i] - z[j];
                    if gap.norm_sqr() > 1e-24 {
                        repel += gap.inv();
                    }
                }
            }
            let step = newton / (Complex64::new(1.0, 0.0) - newton * repel);
            if step.is_finite() {
                z[i] -= step;
                moved = moved.max(step.norm());
            }
        }
        if moved < 1e-10 {
            break;
        }
    }
    z
}

/// Frequency and bandwidth in hertz of a pole at the given sampling rate.
pub(super) fn resonance(pole: Complex64, rate: f64) -> (f64, f64) {
    (pole.arg() * rate / (2.0 * PI), -pole.norm().ln() * rate / PI)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// D. Klatt's resonator (JASA 67, 1980): y = A·x + B·y₁ + C·y₂.
    fn resonate(x: &mut [f64], rate: f64, f: f64, bw: f64) {
        let c = -(-2.0 * PI * bw / rate).exp();
        let b = 2.0 * (-PI * bw / rate).exp() * (2.0 * PI * f / rate).cos();
        let a = 1.0 - b - c;
        let (mut y1, mut y2) = (0.0, 0.0);
        for v in x {
            let y = a * *v + b * y1 + c * y2;
            (y2, y1) = (y1, y);
            *v = y;
        }
    }

    /// Three resonators at 10 kHz, impulse response of 8192 samples: LPC of order 6 must return
    /// their product's denominator and their frequencies and bandwidths.
    #[test]
    fn recovers_known_resonators_exactly() {
        let rate = 10_000.0;
        let mut x = vec![0.0; 8_192];
        x[0] = 1.0;
        let known = [(730.0, 60.0), (1_090.0, 100.0), (2_440.0, 120.0)];
        for (f, bw) in known {
            resonate(&mut x, rate, f, bw);
        }
        let lags: Vec<f64> = (0..=6).map(|l| x.iter().zip(&x[l..]).map(|(a, b)| a * b).sum()).collect();
        let a = levinson(&lags).expect("there is sound");
        let product = [
            -3.33348670354551,
            5.70781974391378,
            -6.45209546025478,
            5.34299907462872,
            -2.93882922567906,
            0.83867736915225,
        ];
        for (got, want) in a.iter().zip(product) {
            assert!((got - want).abs() < 1e-9, "{got} vs {want}");
        }
        let mut found: Vec<(f64, f64)> =
            roots(&a, None).into_iter().filter(|z| z.im > 0.0).map(|z| resonance(z, rate)).collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert_eq!(found.len(), 3);
        for ((f, bw), (want_f, want_bw)) in found.iter().zip(known) {
            assert!((f - want_f).abs() < 1e-3 && (bw - want_bw).abs() < 1e-3, "{f} {bw}");
        }
    }

    #[test]
    fn silence_has_no_resonances() {
        assert_eq!(levinson(&[0.0; 7]), None);
        assert_eq!(levinson(&[f64::NAN; 7]), None);
    }
}
