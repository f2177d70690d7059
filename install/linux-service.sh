#!/usr/bin/env bash
# Installs or removes Stiltwright as a systemd service. Run as root.
#   ./linux-service.sh install SHARE [PROGRAM-FOLDER] [CONFIG-FOLDER]     default: /opt/stiltwright /etc/stiltwright
#   ./linux-service.sh remove
# SHARE is the folder that holds the drop folders; a network share must be mounted so that the account stiltwright may read
# and write it. PROGRAM-FOLDER holds the published program. A configuration that is there already is left as it is.
# "remove" leaves configuration, state (/var/lib/stiltwright), the account and the share alone.
set -euo pipefail

name=stiltwright
unit=/etc/systemd/system/$name.service
fail() { echo "$*" >&2; exit 1; }

[ "$(id -u)" -eq 0 ] || fail "Run this as root."
command -v systemctl >/dev/null || fail "There is no systemd here; start \"stiltwright serve\" by other means."

case ${1:-} in
  remove)
    systemctl disable --now $name 2>/dev/null || true
    rm -rf "$unit" "$unit.d"
    systemctl daemon-reload
    echo "The service is removed. /etc/stiltwright, /var/lib/stiltwright, the account $name and the share are as they were."
    exit 0 ;;
  install) ;;
  *) fail "Give \"install SHARE\" or \"remove\"." ;;
esac

share=$(realpath -m "${2:?Give the folder that holds the drop folders.}")
program=$(realpath -m "${3:-/opt/stiltwright}")
config=$(realpath -m "${4:-/etc/stiltwright}")
here=$(cd "$(dirname "$0")" && pwd)
case $share$program$config in *[[:space:]\"\\%]*) fail "Paths with spaces, quotes, backslashes or % cannot be written into a unit; rename them." ;; esac
[ -x "$program/stiltwright" ] || fail "There is no program $program/stiltwright. Publish it first: dotnet publish src/Host -c Release -r linux-x64 --self-contained -o $program"
[ -d "$share" ] || fail "There is no folder $share. Is the share mounted?"

id $name >/dev/null 2>&1 || useradd --system --home-dir /var/lib/stiltwright --shell /usr/sbin/nologin $name
# Stages run with the rights of the service: neither it nor ordinary users may change program and configuration.
chown -R root:root "$program"
chmod -R go-w "$program"
if [ ! -e "$config/stiltwright.json" ]; then
  mkdir -p "$config"
  cp -R "$program/config/." "$config/"
  sed -i "s#^\( *\)// \"share\":.*#\1\"share\": \"$share\",#; s#^\( *\)// \"state\":.*#\1\"state\": \"/var/lib/stiltwright\",#" "$config/stiltwright.json"
fi
chown -R root:$name "$config"
chmod -R u=rwX,g=rX,o= "$config"

runuser -u $name -- "$program/stiltwright" check --config "$config" || fail "The configuration in $config has mistakes; see above. Mend them and run this again."
runuser -u $name -- test -w "$share" || fail "The account $name may not write to $share. Give it that right (for a mounted share: the options uid=$name,gid=$name), then run this again."

install -m 644 "$here/stiltwright.service" "$unit"
mkdir -p "$unit.d"
cat > "$unit.d/places.conf" <<EOF
[Unit]
RequiresMountsFor=$share

[Service]
ExecStart=
ExecStart=$program/stiltwright serve --share $share --config $config
ReadWritePaths=
ReadWritePaths=$share
EOF
systemctl daemon-reload
systemctl enable --now $name
systemctl --no-pager --lines=5 status $name
