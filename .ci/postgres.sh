#!/usr/bin/env bash
# Starts a throw-away PostgreSQL cluster from Debian's packages and prints the URL of its database.
# Usage: url=$(.ci/postgres.sh)              start; a second call starts another cluster
#        .ci/postgres.sh stop URL            stop the cluster behind that URL and remove it
# Run as root, the cluster belongs to the user postgres (PostgreSQL refuses root); otherwise to whoever runs this.
set -euo pipefail

as_owner() { if [ "$(id -u)" = 0 ]; then setpriv --reuid=postgres --regid=postgres --init-groups "$@"; else "$@"; fi; }

binaries=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -n 1)
if [ -z "$binaries" ]; then
    echo "no PostgreSQL server here: apt-get install postgresql" >&2
    exit 1
fi

if [ "${1:-}" = stop ]; then
    folder=$(sed -n 's/.*[?&]application_name=\([^&]*\).*/\1/p' <<<"${2:?the URL this script printed}")
    as_owner "$binaries/pg_ctl" -D "$folder/data" -m immediate -w stop >&2
    rm -rf "$folder"
    exit 0
fi

folder=$(mktemp -d /tmp/lineup-postgres.XXXXXX)
if [ "$(id -u)" = 0 ]; then chown postgres: "$folder"; fi
cd "$folder"
as_owner "$binaries/initdb" -D data -U lineup -A trust -E UTF8 --locale=C.UTF-8 --no-sync >initdb.log
port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
# without fsync: nothing here outlives the tests. Output goes to files, or a caller waiting for it would never return
as_owner "$binaries/pg_ctl" -D data -w -l server.log \
    -o "-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories=$folder -c fsync=off -c max_connections=100" \
    start >start.log 2>&1
echo "postgresql://lineup@127.0.0.1:$port/postgres?application_name=$folder"
