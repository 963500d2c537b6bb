#!/usr/bin/env bash
# Installs what the outside checks compare with: Debian's GDAL, PROJ,
# GeographicLib, NumPy, SciPy, OpenCV, an ILP solver, poppler to look at PDFs, Chromium
# and Node.js to drive the day page; a C compiler for the race detector; and,
# through npm, what the page is built and tested with. Does nothing when all of
# it is there.
set -euo pipefail
packages=(gdal-bin python3-gdal python3-numpy python3-scipy python3-opencv proj-bin
  geographiclib-tools glpk-utils coinor-cbc poppler-utils libxml2-utils gcc libc6-dev chromium)
# A Node.js that is there already will do, whoever installed it.
command -v node >/dev/null || packages+=(nodejs)
command -v npm >/dev/null || packages+=(npm)
missing=()
for p in "${packages[@]}"; do
  dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q 'install ok installed' || missing+=("$p")
done
if [ ${#missing[@]} -eq 0 ]; then
  echo "outside checks: all packages are installed"
else
  echo "outside checks need: ${missing[*]}"
  sudo=
  [ "$(id -u)" -eq 0 ] || sudo=sudo
  $sudo apt-get update -qq
  DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi

ui=$(dirname "$0")/../internal/web/ui
if ! cmp -s "$ui/package-lock.json" "$ui/node_modules/.installed"; then
  npm --prefix "$ui" ci --ignore-scripts --no-audit --no-fund
  cp "$ui/package-lock.json" "$ui/node_modules/.installed"
fi
