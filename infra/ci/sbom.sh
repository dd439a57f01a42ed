#!/usr/bin/env bash
# Writes the bill of materials (CycloneDX JSON) from the lock file; npm makes it itself. Tools of development are in it, each
# marked as such: with `--omit dev` npm would leave out what both production and a tool need.
set -euo pipefail
cd "$(dirname "$0")/../.."
npm sbom --sbom-format cyclonedx --package-lock-only "$@"
