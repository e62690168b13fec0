//! The program: hands the command line to the library.

fn main() -> std::process::ExitCode {
    sumpward::cli::main()
}
