"""What can be run on the project: one session a job."""

import nox

nox.options.sessions = ["lint", "types", "docs", "tests"]

_CODE = ("meshcomp", "tests", "docs", "noxfile.py")


def _install(session: nox.Session, *what: str) -> None:
    """Install with a pip that knows dependency groups (25.1 or later)."""
    session.install("-q", "--upgrade", "pip")
    session.install("-q", *what)


@nox.session
def demo(session: nox.Session) -> None:
    """Run the whole job on the built-in parts."""
    session.install("-q", ".")
    session.run("meshcomp", "demo", *session.posargs)


@nox.session
def tests(session: nox.Session) -> None:
    """Run the tests and the documented examples on the installed wheel."""
    _install(session, ".", "--group", "tests")
    session.run("pytest", "-n", "2", "tests", "--pyargs", "meshcomp", *session.posargs)


@nox.session
def fuzz(session: nox.Session) -> None:
    """Take ten thousand changed files through the job; takes most of an hour."""
    _install(session, "-e", ".", "--group", "tests")
    session.run("pytest", "-n", "2", "-m", "fuzz", "tests/test_fuzz.py", *session.posargs)


@nox.session
def lint(session: nox.Session) -> None:
    """Check format, style, the direction of imports, and spelling."""
    _install(session, "-e", ".", "--group", "lint")
    session.run("ruff", "format", "--check", *_CODE)
    session.run("ruff", "check", *_CODE)
    session.run("lint-imports")
    session.run("codespell")


@nox.session
def types(session: nox.Session) -> None:
    """Check the types."""
    _install(session, "-e", ".", "--group", "types")
    session.run("mypy")


@nox.session
def docs(session: nox.Session) -> None:
    """Check the pages written from the code, and build the site; broken links fail."""
    _install(session, "-e", ".", "--group", "docs")
    session.run("python", "docs/generate.py", "--check")
    session.run(
        "sphinx-build", "-q", "-W", "--keep-going", "-b", "html", "docs", "dist/docs"
    )


@nox.session(python=False)
def viewer(session: nox.Session) -> None:
    """Build the script of the report anew (needs npm); fail if it was not up to date."""
    with session.chdir("meshcomp/reports/viewer"):
        session.run("npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund")
        session.run("npm", "run", "build")
    session.run("git", "diff", "--exit-code", "--", "meshcomp/reports/assets")


@nox.session
def bench(session: nox.Session) -> None:
    """Run the benchmarks."""
    _install(session, "-e", ".", "--group", "tests")
    session.run(
        "pytest",
        "tests/benchmarks",
        "-o",
        "python_files=bench_*.py",
        "-o",
        "python_functions=bench_*",
        *session.posargs,
    )
