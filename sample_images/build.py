"""Build the sample images again: ``python sample_images/build.py`` from the project folder."""

from pathlib import Path

from curvometer.phantom import build_sample_images

if __name__ == "__main__":
    cases = build_sample_images(Path(__file__).parent)
    print(f"{len(cases)} cases written")
