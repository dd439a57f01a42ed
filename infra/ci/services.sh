#!/bin/bash
# Installs Debian's PostgreSQL and Redis if they are missing, and starts them on the loopback with ports and data folders
# of their own: one PostgreSQL, one Redis, and a Redis Cluster of three. Prints what the tests read:
#
#   eval "$(infra/ci/services.sh start)"      … run tests, benches, chaos …      infra/ci/services.sh stop
#
# Nothing on the machine that was running before is touched. Calling `start` twice is harmless.
set -euo pipefail

HOME_DIR=${DAYSIX_SERVICES_DIR:-/tmp/daysix-services}
PG_PORT=${DAYSIX_PG_PORT:-55432}
REDIS_PORT=${DAYSIX_REDIS_PORT:-56379}
CLUSTER_PORTS=${DAYSIX_CLUSTER_PORTS-45001 45002 45003}

say() { echo "$*" >&2; }

# PostgreSQL refuses to run as root; then its own account runs it.
as_postgres() { if [ "$(id -u)" = 0 ]; then su postgres -s /bin/bash -c "$*"; else bash -c "$*"; fi; }

pg_bin() { find /usr/lib/postgresql -maxdepth 3 -type f -name pg_ctl 2>/dev/null | sort -V | tail -1 | xargs -r dirname; }

install_missing() {
  local missing=()
  [ -n "$(pg_bin)" ] || missing+=(postgresql)
  command -v redis-server >/dev/null || missing+=(redis-server)
  [ ${#missing[@]} -eq 0 ] && return
  say "installing ${missing[*]}"
  # Their packages would start services of their own on the usual ports: not wanted here.
  local policy=/usr/sbin/policy-rc.d made=
  if [ ! -e $policy ]; then printf '#!/bin/sh\nexit 101\n' >$policy && chmod +x $policy && made=1; fi
  { apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${missing[@]}"; } >&2
  [ -z "$made" ] || rm -f $policy
}

start_postgres() {
  local bin data=$HOME_DIR/postgres
  bin=$(pg_bin)
  if [ ! -e "$data/PG_VERSION" ]; then
    mkdir -p "$data" && chmod 700 "$data"
    [ "$(id -u)" != 0 ] || chown postgres "$data"
    as_postgres "$bin/initdb -D $data -U daysix -A trust --locale=C.UTF-8 -E UTF8" >/dev/null
  fi
  as_postgres "$bin/pg_ctl -D $data status" >/dev/null 2>&1 && return
  as_postgres "$bin/pg_ctl -D $data -w -l $data/log -o '-p $PG_PORT -k $data -c listen_addresses=127.0.0.1 -c max_connections=300' start" >/dev/null
}

start_redis() { # port, then extra settings
  local port=$1 data=$HOME_DIR/redis-$1
  shift
  redis-cli -p "$port" ping >/dev/null 2>&1 && return
  mkdir -p "$data"
  redis-server --port "$port" --bind 127.0.0.1 --dir "$data" --daemonize yes --pidfile "$data/pid" --logfile "$data/log" \
    --appendonly yes --maxmemory-policy noeviction "$@" >/dev/null
  for _ in $(seq 100); do redis-cli -p "$port" ping >/dev/null 2>&1 && return; sleep 0.1; done
  say "redis on port $port does not answer" && return 1
}

start_cluster() {
  local port nodes=()
  [ -n "$CLUSTER_PORTS" ] || return 0
  for port in $CLUSTER_PORTS; do
    start_redis "$port" --cluster-enabled yes --cluster-node-timeout 2000
    nodes+=("127.0.0.1:$port")
  done
  local first=${CLUSTER_PORTS%% *}
  # A cluster of an earlier start needs a moment to find itself again; a new one knows only itself.
  for _ in $(seq 100); do
    redis-cli -p "$first" cluster info | grep -q 'cluster_state:ok' && return
    redis-cli -p "$first" cluster info | grep -q 'cluster_known_nodes:1\b' && break
    sleep 0.1
  done
  redis-cli --cluster create "${nodes[@]}" --cluster-yes >/dev/null
  for _ in $(seq 100); do redis-cli -p "$first" cluster info | grep -q 'cluster_state:ok' && return; sleep 0.1; done
  say 'the Redis Cluster does not form' && return 1
}

stop_all() {
  local bin port
  bin=$(pg_bin)
  [ ! -e "$HOME_DIR/postgres/PG_VERSION" ] || as_postgres "$bin/pg_ctl -D $HOME_DIR/postgres -m fast stop" >/dev/null 2>&1 || true
  for port in $REDIS_PORT $CLUSTER_PORTS; do redis-cli -p "$port" shutdown nosave >/dev/null 2>&1 || true; done
  rm -rf "$HOME_DIR"
}

case ${1:-start} in
  start)
    install_missing
    mkdir -p "$HOME_DIR" && chmod 755 "$HOME_DIR"
    start_postgres
    start_redis "$REDIS_PORT"
    start_cluster
    echo "export TEST_DATABASE_URL=postgres://daysix@127.0.0.1:$PG_PORT/postgres"
    echo "export TEST_REDIS_URL=redis://127.0.0.1:$REDIS_PORT"
    [ -z "$CLUSTER_PORTS" ] || echo "export TEST_REDIS_CLUSTER=redis://$(echo "$CLUSTER_PORTS" | sed 's/\([0-9]*\)/127.0.0.1:\1/g; s/ /,/g')"
    ;;
  stop) stop_all ;;
  # As after a power cut: no good-bye, no last write. `start` brings them back.
  crash-postgres) as_postgres "$(pg_bin)/pg_ctl -D $HOME_DIR/postgres -m immediate stop" >/dev/null ;;
  crash-redis) kill -9 "$(cat "$HOME_DIR/redis-$REDIS_PORT/pid")" ;;
  wipe-redis) redis-cli -p "$REDIS_PORT" flushall >/dev/null ;;
  *) say 'usage: services.sh start|stop|crash-postgres|crash-redis|wipe-redis' && exit 2 ;;
esac
