"""What can be run on the project: one session a job."""

import nox

nox.options.sessions = ["lint", "types", "tests"]


@nox.session
def demo(session: nox.Session) -> None:
    """Run the whole job on the built-in parts."""
    session.install(".")
    session.run("meshcomp", "demo", *session.posargs)


@nox.session
def tests(session: nox.Session) -> None:
    """Run the tests and the documented examples."""
    session.install("--upgrade", "pip")
    session.run("python", "-m", "pip", "install", "-q", "-e", ".", "--group", "tests")
    session.run("pytest", "-n", "2", *session.posargs)


@nox.session
def lint(session: nox.Session) -> None:
    """Check format, style and the direction of imports."""
    session.install("--upgrade", "pip")
    session.run("python", "-m", "pip", "install", "-q", "-e", ".", "--group", "lint")
    session.run("ruff", "format", "--check", "meshcomp", "tests", "noxfile.py")
    session.run("ruff", "check", "meshcomp", "tests", "noxfile.py")
    session.run("lint-imports")


@nox.session
def types(session: nox.Session) -> None:
    """Check the types."""
    session.install("--upgrade", "pip")
    session.run("python", "-m", "pip", "install", "-q", "-e", ".", "--group", "types")
    session.run("mypy")


@nox.session
def bench(session: nox.Session) -> None:
    """Run the benchmarks."""
    session.install("--upgrade", "pip")
    session.run("python", "-m", "pip", "install", "-q", "-e", ".", "--group", "tests")
    session.run(
        "pytest", "tests/benchmarks", "-o", "python_files=bench_*.py", *session.posargs
    )
