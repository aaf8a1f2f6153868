#!/bin/sh
# Builds the Debian guest of `npm run test:hotplug` as root: OUT/vmlinuz, OUT/initrd and OUT/root.img (ext4). The guest is
# a photographer's laptop: one user, anna, logged in at the first console, whose systemd runs Scrubjay. Scrubjay itself,
# Node and the packages are not in it; they are mounted at each start (9p). Packages come from the Debian mirror.
#
# Usage: buildGuest.sh OUT SUITE
set -eu

out=$1
suite=$2
work=$(mktemp -d "${TMPDIR:-/tmp}/scrubjay-guest-XXXXXX")
trap 'rm -rf "$work"' EXIT
root=$work/root

# perl runs ExifTool; libstdc++6 belongs to Node; libpam-systemd and dbus-user-session make a login a session.
packages="systemd,systemd-sysv,libpam-systemd,dbus,dbus-user-session,udev,udisks2,polkitd,exfatprogs,dosfstools,e2fsprogs"
packages="$packages,kmod,util-linux,procps,login,perl,libstdc++6,qemu-guest-agent"
mmdebstrap --mode=root --variant=minbase --include="$packages" \
  --dpkgopt='path-exclude=/usr/share/doc/*' --dpkgopt='path-exclude=/usr/share/man/*' \
  --dpkgopt='path-exclude=/usr/share/locale/*' --dpkgopt='path-exclude=/usr/share/info/*' \
  --customize-hook='chroot "$1" sh -c "cd /tmp && apt-get download -q \$(apt-cache depends --important linux-image-amd64 | sed -n \"s/.*Depends: //p\" | head -n 1)"' \
  --customize-hook='copy-out /tmp '"$work" \
  "$suite" "$root"

# The kernel's package is only unpacked: its scripts would build an initrd for this computer.
dpkg-deb -x "$work"/tmp/linux-image-*.deb "$work/kernel"
rm -f "$root"/tmp/linux-image-*.deb
version=$(ls "$work/kernel/lib/modules")
cp "$work/kernel/boot/vmlinuz-$version" "$out/vmlinuz"
from=$work/kernel/lib/modules/$version
to=$root/lib/modules/$version
mkdir -p "$to/kernel"
cp "$from"/modules.order "$from"/modules.builtin* "$to/"
# kernel/block holds t10-pi, without which no SCSI disk appears.
for part in block crypto lib arch net/9p \
  fs/9p fs/exfat fs/fat fs/ext4 fs/jbd2 fs/nls fs/fuse fs/fscache fs/netfs fs/autofs fs/mbcache.ko \
  drivers/usb/common drivers/usb/core drivers/usb/host drivers/usb/storage drivers/scsi drivers/virtio \
  drivers/block drivers/char drivers/cdrom drivers/ata; do
  [ -e "$from/kernel/$part" ] || continue
  mkdir -p "$to/kernel/$(dirname "$part")"
  cp -r "$from/kernel/$part" "$to/kernel/$part"
done
chroot "$root" depmod "$version"

chroot "$root" useradd --create-home --uid 1000 --shell /bin/bash anna
echo laptop > "$root/etc/hostname"
: > "$root/etc/machine-id"
cat > "$root/etc/fstab" <<'TABLE'
/dev/vda  /                            ext4  noatime 0 0
scrubjay  /opt/scrubjay                9p    trans=virtio,version=9p2000.L,msize=512000,cache=loose,ro 0 0
modules   /opt/scrubjay/node_modules   9p    trans=virtio,version=9p2000.L,msize=512000,cache=loose,ro 0 0
TABLE
mkdir -p "$root/opt/scrubjay" "$root/etc/systemd/system/getty@tty1.service.d" \
  "$root/etc/systemd/user/default.target.wants"
# Someone is logged in at the computer: without that, UDisks2 and polkit let nobody mount anything.
cat > "$root/etc/systemd/system/getty@tty1.service.d/login.conf" <<'UNIT'
[Service]
ExecStart=
ExecStart=-/sbin/agetty --autologin anna --noclear %I linux
UNIT
cat > "$root/usr/local/bin/scrubjay" <<'COMMAND'
#!/bin/sh
exec /opt/scrubjay/node /opt/scrubjay/dist/daemon/cli.js "$@"
COMMAND
chmod 755 "$root/usr/local/bin/scrubjay"
# The project's own unit, enabled as `systemctl --global enable` does it.
ln -s /opt/scrubjay/config/service/scrubjay.service "$root/etc/systemd/user/scrubjay.service"
ln -s /etc/systemd/user/scrubjay.service "$root/etc/systemd/user/default.target.wants/scrubjay.service"
# Waiting for nothing: no network, no console on the serial port, no timers that begin to work in mid-step.
for unit in systemd-networkd.service apt-daily.timer apt-daily-upgrade.timer e2scrub_all.timer e2scrub_reap.service \
  fstrim.timer dpkg-db-backup.timer man-db.timer; do
  ln -sf /dev/null "$root/etc/systemd/system/$unit"
done
rm -rf "$root"/var/cache/apt/* "$root"/var/lib/apt/lists/*

# The initrd loads what the root disk needs, and hands over.
mkdir -p "$work/initrd/bin" "$work/initrd/modules"
cp "$(command -v busybox)" "$work/initrd/bin/busybox"
{
  echo '#!/bin/busybox sh'
  echo 'b=/bin/busybox; $b mkdir -p /proc /sys /dev /new'
  echo '$b mount -t proc none /proc; $b mount -t sysfs none /sys; $b mount -t devtmpfs none /dev'
  for module in virtio_pci virtio_blk crc32c_generic ext4; do
    chroot "$root" modprobe --set-version "$version" --show-depends "$module" | sed -n 's/^insmod //p'
  done | while read -r file _; do
    cp "$root$file" "$work/initrd/modules/"
    echo "\$b insmod /modules/$(basename "$file") 2>/dev/null"
  done
  echo 'until [ -b /dev/vda ]; do $b sleep 0.1; done'
  echo '$b mount -o noatime /dev/vda /new; $b umount /sys /proc'
  echo '$b mount --move /dev /new/dev; exec $b switch_root /new /sbin/init'
} > "$work/initrd/init"
chmod 755 "$work/initrd/init"
(cd "$work/initrd" && find . | cpio --quiet -o -H newc | gzip -1) > "$out/initrd"

truncate -s 1200M "$out/root.img"
mkfs.ext4 -q -F -m 0 -L laptop -d "$root" "$out/root.img"
