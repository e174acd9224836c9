//! Pieces that the library keeps to itself, each alone. They are here and not beside the pieces, so
//! that the library is compiled once, not a second time for tests of its own.

mod schema {
    use rusqlite::Connection;
    use std::path::PathBuf;
    use thumbline::journal::schema::{MIGRATIONS, Migration, migrate};

    fn file() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal.sqlite");
        (folder, path)
    }

    #[test]
    fn an_older_file_is_brought_forward_and_a_copy_put_aside() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("opens");
        migrate(&mut connection, &path, &MIGRATIONS[..1]).expect("version 1");
        connection
            .execute("INSERT INTO recording VALUES ('aa', 'Old Mill Reel')", [])
            .expect("a row");
        let next: &[Migration] = &[MIGRATIONS[0], "ALTER TABLE round ADD COLUMN mood TEXT;"];
        migrate(&mut connection, &path, next).expect("version 2");
        let name: String = connection
            .query_row("SELECT name FROM recording", [], |r| r.get(0))
            .expect("the row is still there");
        assert_eq!(name, "Old Mill Reel");
        let aside = path.with_extension("v1.sqlite");
        let old = Connection::open(aside).expect("the copy opens");
        let rows: i32 = old
            .query_row("SELECT count(*) FROM recording", [], |r| r.get(0))
            .expect("count");
        assert_eq!(rows, 1);
    }

    #[test]
    fn a_failed_migration_changes_nothing() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("opens");
        migrate(&mut connection, &path, &MIGRATIONS[..1]).expect("version 1");
        connection
            .execute("INSERT INTO recording VALUES ('aa', 'x')", [])
            .expect("a row");
        let bad: &[Migration] = &[MIGRATIONS[0], "DELETE FROM recording; SELECT no_such(1);"];
        assert!(migrate(&mut connection, &path, bad).is_err());
        let rows: i32 = connection
            .query_row("SELECT count(*) FROM recording", [], |r| r.get(0))
            .expect("count");
        let version: i32 = connection
            .query_row("PRAGMA user_version", [], |r| r.get(0))
            .expect("version");
        assert_eq!((rows, version), (1, 1));
    }
}

mod limiter {
    use thumbline::deck::limiter::Limiter;

    #[test]
    fn below_the_ceiling_it_only_delays() {
        let late = Limiter::latency(48_000);
        let mut limiter = Limiter::new(48_000, true);
        let input: Vec<f32> = (0..2000).map(|i| (i as f32 * 0.1).sin() * 0.5).collect();
        let output: Vec<f32> = input.iter().map(|&s| limiter.next([s, -s])[0]).collect();
        assert_eq!(output[late..], input[..2000 - late]);
    }

    #[test]
    fn a_peak_between_samples_is_kept_below_minus_one_db() {
        // A sine at a quarter of the rate, 45° off: samples at 0.707 of its peak (BS.1770, annex 2).
        let mut limiter = Limiter::new(48_000, true);
        let peak = (0..48_000)
            .map(|i| {
                let s = 1.4
                    * (std::f32::consts::FRAC_PI_2 * i as f32 + std::f32::consts::FRAC_PI_4).sin();
                limiter.next([s, s])[0].abs()
            })
            .skip(4800)
            .fold(0.0f32, f32::max);
        let true_peak = peak * std::f32::consts::SQRT_2;
        assert!(
            (0.86..=0.8913).contains(&true_peak),
            "true peak {true_peak}"
        );
    }
}

mod rates {
    use thumbline::deck::resample::to_rate;
    use thumbline::recording::Recording;

    #[test]
    fn a_sine_keeps_its_place_and_pitch() {
        for (from, to) in [(44_100u32, 48_000u32), (48_000, 44_100), (22_050, 96_000)] {
            let sine = |rate: u32, n: usize| -> Vec<f32> {
                (0..n)
                    .map(|i| {
                        (std::f64::consts::TAU * 440.0 * i as f64 / f64::from(rate)).sin() as f32
                    })
                    .collect()
            };
            let recording = Recording::new("sine", from, vec![sine(from, from as usize)]).unwrap();
            let other = to_rate(&recording, to, || true).unwrap();
            assert_eq!(other.frames(), to as usize);
            let exact = sine(to, to as usize);
            let inner = to as usize / 10..to as usize * 9 / 10;
            let worst = inner
                .map(|i| (other.channels()[0][i] - exact[i]).abs())
                .fold(0.0f32, f32::max);
            assert!(worst < 1e-3, "{from} to {to}: {worst}");
        }
    }

    #[test]
    fn one_sample_survives() {
        let dot = Recording::new("dot", 8_000, vec![vec![0.5]]).unwrap();
        assert_eq!(to_rate(&dot, 48_000, || true).unwrap().frames(), 6);
    }
}

mod calibrate {
    use thumbline::deck::calibrate::{CLICKS, LENGTH, click, frame_of, latency};

    #[test]
    fn finds_a_quiet_echo_in_noise() {
        let rate = 48_000;
        let click = click(rate);
        let mut seed = 1u32;
        let mut input: Vec<f32> = (0..(LENGTH * 48_000.0) as usize)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed as f32 / u32::MAX as f32 - 0.5) * 0.05
            })
            .collect();
        assert_eq!(latency(&input, rate), None);
        for i in 0..CLICKS {
            for (j, s) in click.iter().enumerate() {
                input[frame_of(i, rate) + 777 + j] -= 0.1 * s;
            }
        }
        let found = latency(&input, rate).expect("an echo");
        assert!((found.0 * 48_000.0 - 777.0).abs() < 0.5, "{found:?}");
    }

    #[test]
    fn silence_has_no_echo() {
        assert_eq!(latency(&[0.0; 1000], 48_000), None);
        assert_eq!(latency(&[], 48_000), None);
    }
}

mod parallel {
    use thumbline::parallel::{map, stream};

    #[test]
    fn results_come_in_order_and_once() {
        let things: Vec<usize> = (0..1000).collect();
        let made = map(&things, |i| i * i);
        assert!(made.iter().enumerate().all(|(i, m)| *m == i * i) && made.len() == 1000);
        assert!(map(&[] as &[usize], |i| *i).is_empty());
    }

    #[test]
    fn an_error_stops_the_rest() {
        let things: Vec<usize> = (0..100_000).collect();
        let begun = std::sync::atomic::AtomicUsize::new(0);
        let mut taken = Vec::new();
        let ended = stream(
            &things,
            || begun.fetch_add(1, std::sync::atomic::Ordering::Relaxed),
            |_, i| *i,
            |i| {
                taken.push(i);
                if i == 7 { Err("enough") } else { Ok(()) }
            },
        );
        assert_eq!(ended, Err("enough"));
        assert_eq!(taken, [0, 1, 2, 3, 4, 5, 6, 7]);
    }

    #[test]
    #[should_panic(expected = "the seventh")]
    fn a_panic_is_the_callers() {
        map(&[0, 1, 2, 3, 4, 5, 6, 7], |i| {
            assert!(*i != 7, "the seventh");
        });
    }
}

mod ring {
    use thumbline::stretch::overlap_add::Likeness;

    #[test]
    fn midway_the_gains_are_those_of_constant_power() {
        // 1/√(2 + 2r) for a correlation r (handbook formula of cross-fades): 0.707, 0.577, 0.5.
        for r in [0.0f32, 0.5, 1.0] {
            let like = Likeness {
                old: 1.0,
                new: 1.0,
                both: r,
            };
            let (old, new) = like.gains(0.5);
            let due = (2.0 + 2.0 * r).sqrt().recip();
            assert!((old - due).abs() < 1e-6 && (new - due).abs() < 1e-6, "{r}");
        }
        let unheard = Likeness::default();
        assert_eq!(unheard.gains(0.0), (1.0, 0.0));
        assert_eq!(unheard.gains(1.0), (0.0, 1.0));
    }
}

mod phase {
    use realfft::num_complex::Complex32;
    use std::f32::consts::{FRAC_PI_2, PI};
    use std::f64::consts::TAU;
    use thumbline::stretch::phase::{angle, cosine, turn, wrap};

    #[test]
    fn they_are_those_of_the_standard_library() {
        for i in -2000i16..=2000 {
            let theta = f32::from(i) / 2000.0 * PI;
            let (sin, cos) = theta.sin_cos();
            let z = turn(theta);
            assert!((z.re - cos).abs() < 1e-6 && (z.im - sin).abs() < 1e-6);
            assert!((wrap(f64::from(angle(z) - theta))).abs() < 1e-6, "{theta}");
            let quarter = f32::from(i) / 2000.0 * FRAC_PI_2;
            assert!((cosine(quarter) - quarter.cos()).abs() < 3e-7);
        }
        assert_eq!(turn(0.0), Complex32::new(1.0, 0.0));
        assert_eq!(angle(Complex32::new(0.0, 0.0)), 0.0);
        assert!((wrap(1e6) - (1e6 - TAU * 159_155.0)).abs() < 1e-9);
    }
}
