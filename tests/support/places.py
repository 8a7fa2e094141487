"""Where the project's files lie: its root, the sample sessions, the rigs that come with the program."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("logger", "analysis", "dashboard")
SAMPLES = sorted(p for p in (ROOT / "sample_logs").iterdir() if p.is_dir())
LAUNCH = ROOT / "sample_logs" / "slipway-launch-1"
SHELF = sorted((ROOT / "analysis" / "rigs").glob("*.toml"))
DEMO = ROOT / "analysis" / "demo" / "rig.toml"
