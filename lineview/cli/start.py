"""Where the command starts, before anything that takes long to load."""


def run() -> None:
    """Run it; Ctrl+C ends it plainly, also while it is still being loaded."""
    try:
        from lineview.cli.main import main

        main()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
