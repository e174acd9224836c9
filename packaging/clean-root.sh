#!/bin/bash
# Installs, runs and removes the Debian package in a Debian root that has nothing else: no Rust,
# and no network while the programs run. `cargo xtask dist --try` calls it; it needs root,
# debootstrap and unshare.
#   clean-root.sh PACKAGE.deb ROOT [MIRROR]
set -euo pipefail
package=$1 root=$2 mirror=${3:-http://deb.debian.org/debian}
release=$(. /etc/os-release && echo "$VERSION_CODENAME")

[ -e "$root/etc/debian_version" ] || debootstrap --variant=minbase "$release" "$root" "$mirror" >/dev/null
cp "$package" "$root/tmp/thumbline.deb"
inside() { chroot "$root" /usr/bin/env -i HOME=/root PATH=/usr/bin:/bin:/usr/sbin:/sbin LC_ALL=C.UTF-8 DEBIAN_FRONTEND=noninteractive "$@"; }
alone() { unshare --net -- chroot "$root" /usr/bin/env -i HOME=/root PATH=/usr/bin:/bin LC_ALL=C.UTF-8 "$@"; }

inside apt-get update -qq
# The display and the loader of plug-ins are the test's; everything else the package asks for itself.
inside apt-get install -y -qq --no-install-recommends xvfb x11-utils python3-minimal libpython3-stdlib >/dev/null
inside apt-get install -y -qq --no-install-recommends /tmp/thumbline.deb >/dev/null
echo "installed: $(inside dpkg-query -W -f '${Package} ${Version}' thumbline)"

if inside sh -c 'command -v rustc cargo'; then echo "there is Rust in here"; exit 1; fi
alone thumbline --version
alone thumbline demo --out /tmp/demo >/tmp/clean-root-demo.txt
[ -s "$root/tmp/demo/both.svg" ] || { echo "the demo drew nothing"; exit 1; }
echo "demo: ran"
alone thumbline doctor
[ -s "$root/usr/share/man/man1/thumbline.1.gz" ] || { echo "no man page"; exit 1; }

alone python3 - <<'EOF'
# The smallest host: CLAP's own structures (clap/entry.h, factory/plugin-factory.h, plugin.h).
import ctypes as c

Text = c.c_char_p
class Version(c.Structure):
    _fields_ = [("major", c.c_uint32), ("minor", c.c_uint32), ("revision", c.c_uint32)]
class Entry(c.Structure):
    _fields_ = [("version", Version), ("init", c.CFUNCTYPE(c.c_bool, Text)),
                ("deinit", c.CFUNCTYPE(None)), ("factory", c.CFUNCTYPE(c.c_void_p, Text))]
class Host(c.Structure):
    _fields_ = [("version", Version), ("data", c.c_void_p), ("name", Text), ("vendor", Text), ("url", Text),
                ("release", Text), ("extension", c.CFUNCTYPE(c.c_void_p, c.c_void_p, Text)),
                ("restart", c.CFUNCTYPE(None, c.c_void_p)), ("process", c.CFUNCTYPE(None, c.c_void_p)),
                ("callback", c.CFUNCTYPE(None, c.c_void_p))]
class Description(c.Structure):
    _fields_ = [("version", Version), ("id", Text), ("name", Text)]
class Plugin(c.Structure):
    _fields_ = [("description", c.POINTER(Description)), ("data", c.c_void_p),
                ("init", c.CFUNCTYPE(c.c_bool, c.c_void_p)), ("destroy", c.CFUNCTYPE(None, c.c_void_p))]
class Factory(c.Structure):
    _fields_ = [("count", c.CFUNCTYPE(c.c_uint32, c.c_void_p)),
                ("describe", c.CFUNCTYPE(c.POINTER(Description), c.c_void_p, c.c_uint32)),
                ("create", c.CFUNCTYPE(c.POINTER(Plugin), c.c_void_p, c.POINTER(Host), Text))]

path = "/usr/lib/clap/Thumbline.clap"
entry = Entry.in_dll(c.CDLL(path), "clap_entry")
assert entry.init(path.encode())
at = entry.factory(b"clap.plugin-factory")
factory = Factory.from_address(at)
assert factory.count(at) == 1
described = factory.describe(at, 0).contents
nothing = lambda *_: None
kinds = dict(Host._fields_)
host = Host(Version(1, 2, 0), None, b"test", b"test", b"", b"1", kinds["extension"](nothing),
            kinds["restart"](nothing), kinds["process"](nothing), kinds["callback"](nothing))
plugin = factory.create(at, c.byref(host), described.id)
assert plugin and plugin.contents.init(plugin)
plugin.contents.destroy(plugin)
entry.deinit()
print("plug-in:", described.name.decode(), "made, opened and closed by a host")
EOF

alone sh -c '
    Xvfb :77 -screen 0 1180x760x24 -nolisten tcp >/dev/null 2>&1 & display=$!
    sleep 2
    DISPLAY=:77 thumbline-standalone --backend dummy /tmp/demo/recording.wav >/tmp/window.txt 2>&1 & window=$!
    for try in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15; do
        sleep 2
        if DISPLAY=:77 xwininfo -root -tree 2>/dev/null | grep -qi thumbline; then found=yes; break; fi
    done
    alive=no; kill -0 $window 2>/dev/null && alive=yes
    kill $window $display 2>/dev/null
    [ "${found:-no}" = yes ] && [ $alive = yes ] || { cat /tmp/window.txt; exit 1; }'
echo "window: opened under a virtual display"

inside dpkg -L thumbline | while read -r path; do [ -d "$root$path" ] || echo "$path"; done >"$root/tmp/files"
inside apt-get remove -y -qq thumbline >/dev/null
while read -r path; do [ ! -e "$root$path" ] || { echo "left behind: $path"; exit 1; }; done <"$root/tmp/files"
echo "removed: nothing left of $(wc -l <"$root/tmp/files") files"
