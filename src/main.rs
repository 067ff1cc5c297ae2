//! The `sustent` command: everything is in the library's `cli`.

fn main() {
    std::process::exit(sustent::cli::run(std::env::args_os()) as i32);
}
