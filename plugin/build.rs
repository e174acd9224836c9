//! On Linux the library stays loaded once it was: an open file dialog has a thread that cannot be
//! told to end, and must find its code when the player closes it after the plug-in is gone.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "linux") {
        println!("cargo::rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
}
