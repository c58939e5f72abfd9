from fielddevice.app import main

main()
