"""``python -m rotation_opt``."""

from rotation_opt.cli import main

if __name__ == "__main__":
    main(prog_name="rotation-opt")
