#!/usr/bin/env bash
# Installs what the outside checks compare with: Debian's GDAL, PROJ,
# GeographicLib, NumPy, SciPy, an ILP solver, and poppler to look at PDFs; and a
# C compiler for the race detector. Does nothing when all of it is there.
set -euo pipefail
packages=(gdal-bin python3-gdal python3-numpy python3-scipy proj-bin
  geographiclib-tools glpk-utils coinor-cbc poppler-utils libxml2-utils gcc libc6-dev)
missing=()
for p in "${packages[@]}"; do
  dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q 'install ok installed' || missing+=("$p")
done
if [ ${#missing[@]} -eq 0 ]; then
  echo "outside checks: all packages are installed"
  exit 0
fi
echo "outside checks need: ${missing[*]}"
sudo=
[ "$(id -u)" -eq 0 ] || sudo=sudo
$sudo apt-get update -qq
DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${missing[@]}"
