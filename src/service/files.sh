#!/bin/sh
# Lets the program write what a package holds beside it, its man pages and completions: files.sh PROGRAM FOLDER
set -eu
program=$1
folder=$2
mkdir -p "$folder"
"$program" man --into "$folder"
"$program" completions bash >"$folder/closerun.bash"
"$program" completions fish >"$folder/closerun.fish"
"$program" completions zsh >"$folder/_closerun"
